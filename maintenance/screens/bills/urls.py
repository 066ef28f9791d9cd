"""Addresses of bills."""

from django.urls import path

from . import views

urlpatterns = [
    path("", views.Bills.as_view(), name="bills"),
    path("new/", views.NewBill.as_view(), name="bill_new"),
    path("<key:pk>/", views.OneBill.as_view(), name="bill"),
    path("<key:pk>/paper/", views.bill_paper, name="bill_paper"),
    path("<key:pk>/strike/", views.StrikeBill.as_view(), name="bill_strike"),
]
