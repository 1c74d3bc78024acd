"""The planning side's pages, a file per room in the bar. Each ends with its own `urlpatterns`."""
