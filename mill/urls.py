from django.contrib import admin
from django.contrib.auth.views import LoginView, LogoutView
from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView, SpectacularRedocView

urlpatterns = [
    path("", include("planning.urls")),
    path("", include("inventory.urls")),
    path("", include("mill.pages")),
    path("", include("mill.people_pages")),
    path("", include("mill.health")),
    path("sign-in/", LoginView.as_view(template_name="mill/sign_in.html"), name="sign_in"),
    path("sign-out/", LogoutView.as_view(), name="sign_out"),
    path("api/description/", SpectacularRedocView.as_view(url_name="api_schema"), name="api_description"),
    path("api/schema/", SpectacularAPIView.as_view(), name="api_schema"),
    path("desk/", admin.site.urls),
]
