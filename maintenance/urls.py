"""Addresses of the log and the forecasts."""

from django.urls import include, path

from . import due

app_name = "maintenance"
urlpatterns = [
    path("due/", due.Due.as_view(), name="due"),
    path("log/", include("maintenance.log_urls")),
]
