"""Addresses of the log: one screen a task, the list of entries, striking out."""

from django.urls import path

from . import entries, views
from .addresses import to_today

urlpatterns = [
    path("", views.Start.as_view(), name="log"),
    path("run/", views.LogRun.as_view(), name="log_run"),
    path("sharpening/", views.LogSharpening.as_view(), name="log_sharpening"),
    path("replacement/", views.LogReplacement.as_view(), name="log_replacement"),
    path("stop/", views.LogStop.as_view(), name="log_stop"),
    path("reading/", views.LogReading.as_view(), name="log_reading"),
    path("mishap/", views.LogMishap.as_view(), name="log_mishap"),
    path("mishap/<key:pk>/", views.Mishap.as_view(), name="mishap"),
    path("set-up/", views.LogSetUp.as_view(), name="log_set_up"),
    path("count/", views.LogCorrection.as_view(), name="log_correction"),
    path("entries/", entries.Entries.as_view(), name="entries"),
    path("entries/<entry:sort>/<key:pk>/strike/", entries.Strike.as_view(), name="strike"),
    path("entries/<entry:sort>/<key:pk>/take-back/", entries.TakeBack.as_view(), name="take_back"),
    path("entries/<former_entry:sort>/<path:rest>", to_today, name="entry_of_before"),
]
