"""Addresses of inspections."""

from django.urls import path

from . import views

urlpatterns = [
    path("", views.Inspections.as_view(), name="inspections"),
    path("new/", views.NewPlan.as_view(), name="inspection_new"),
    path("proposals/", views.Proposals.as_view(), name="inspection_proposals"),
    path("<key:pk>/", views.OnePlan.as_view(), name="inspection_plan"),
]
