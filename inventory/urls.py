"""The store's addresses, gathered from its rooms."""

from django.urls import include, path

from inventory import api
from inventory.views import claims, deliveries, labels, lots, records, store, treatments, yarns

urlpatterns = [
    *yarns.urlpatterns,
    *labels.urlpatterns,
    *lots.urlpatterns,
    *deliveries.urlpatterns,
    *claims.urlpatterns,
    *store.urlpatterns,
    *treatments.urlpatterns,
    *records.urlpatterns,
    path("api/", include(api.urlpatterns)),
]
