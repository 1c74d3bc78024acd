from django.contrib import admin
from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView

from mill.api import api_description

handler500 = "mill.trouble.answer"

urlpatterns = [
    path("", include("planning.urls")),
    path("", include("inventory.urls")),
    path("", include("mill.pages")),
    path("", include("mill.people_pages")),
    path("", include("mill.backup_pages")),
    path("", include("mill.health")),
    path("api/description/", api_description, name="api_description"),
    path("api/schema/", SpectacularAPIView.as_view(), name="api_schema"),
    path("desk/", admin.site.urls),
]
