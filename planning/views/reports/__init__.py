"""Reports: one module each with its page; `page.py` has what they share, `leaf.py` the leaf that shows them all."""

from planning.views.reports import deliveries, efficiency, leaf, load, seconds, thrums, turnover

urlpatterns = [
    path for module in (leaf, deliveries, load, efficiency, turnover, thrums, seconds) for path in module.urlpatterns
]
