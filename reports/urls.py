"""Addresses of the reports."""

from django.urls import path

from . import spares_views, today

app_name = "reports"
urlpatterns: list = [
    path("", today.Today.as_view(), name="today"),
    path("spares/", spares_views.spares_page, name="spares"),
    path("spares/spares.csv", spares_views.spares_csv, name="spares_csv"),
    path("spares/<int:pk>/", spares_views.spare_page, name="spare"),
]
