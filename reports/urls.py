"""Addresses of the reports."""

from django.urls import path

from . import cost_views, spares_views, today

app_name = "reports"
urlpatterns: list = [
    path("", today.Today.as_view(), name="today"),
    path("spares/", spares_views.spares_page, name="spares"),
    path("spares/spares.csv", spares_views.spares_csv, name="spares_csv"),
    path("spares/<int:pk>/", spares_views.spare_page, name="spare"),
    path("cost/", cost_views.cost_page, name="cost"),
    path("cost/<int:pk>/", cost_views.cost_die_page, name="cost_die"),
]
