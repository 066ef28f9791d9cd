"""Addresses of the log and the forecasts."""

from django.urls import include, path

from . import due, edge_views, record_views, wear_views

app_name = "maintenance"
urlpatterns = [
    path("due/", due.Due.as_view(), name="due"),
    path("wear-model/", wear_views.WearModel.as_view(), name="wear"),
    path("record/", record_views.Record.as_view(), name="record"),
    path("record/restart/", record_views.Restart.as_view(), name="restart"),
    path("edges/<int:pk>/", edge_views.EdgePage.as_view(), name="edge"),
    path("log/entries/<slug:sort>/<int:pk>/", edge_views.EntryPage.as_view(), name="entry"),
    path("log/", include("maintenance.log_urls")),
    path("counters/", include("maintenance.counter_urls")),
]
