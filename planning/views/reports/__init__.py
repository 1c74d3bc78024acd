"""Reports: one module each with its page; `page.py` has what they share, `leaf.py` the leaf that shows them all."""

from planning.views.reports import deliveries, efficiency, leaf, load, seconds

urlpatterns = [
    *leaf.urlpatterns,
    *deliveries.urlpatterns,
    *load.urlpatterns,
    *efficiency.urlpatterns,
    *seconds.urlpatterns,
]
