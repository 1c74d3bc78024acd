"""The planning side's JSON API, a file per noun. Each ends with its own `urlpatterns`."""
