"""Addresses of the bench."""

from django.urls import path

from . import complaint, views

urlpatterns = [
    path("", views.Bench.as_view(), name="bench"),
    path("better/", views.Better.as_view(), name="bench_better"),
    path("complaint/", complaint.Complaint.as_view(), name="complaint"),
    path("new/", views.NewWork.as_view(), name="bench_new"),
    path("<key:pk>/", views.Work.as_view(), name="bench_work"),
    path("<key:pk>/put/", views.Put.as_view(), name="bench_put"),
    path("<key:pk>/sheet.pdf", views.bench_sheet, name="bench_sheet"),
    path("hold/<key:pk>/", views.Hold.as_view(), name="hold"),
]
