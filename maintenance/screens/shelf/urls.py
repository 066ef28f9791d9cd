"""Addresses of the shelf."""

from django.urls import path

from . import views

urlpatterns = [path("", views.Shelf.as_view(), name="shelf")]
