"""Addresses of orders to suppliers."""

from django.urls import path

from . import views

urlpatterns = [
    path("", views.Orders.as_view(), name="purchases"),
    path("new/", views.New.as_view(), name="purchase_new"),
    path("<key:pk>/", views.OneOrder.as_view(), name="purchase"),
    path("<key:pk>/take-in/", views.TakeIn.as_view(), name="purchase_take_in"),
    path("<key:pk>/order.pdf", views.order_pdf, name="purchase_pdf"),
    path("<key:pk>/order.xlsx", views.order_xlsx, name="purchase_xlsx"),
    path("<key:pk>/order.csv", views.order_csv, name="purchase_csv"),
]
