"""Addresses of spreadsheets in and out."""

from django.urls import path

from . import views

urlpatterns = [
    path("", views.NewBook.as_view(), name="book_new"),
    path("whole/", views.WholeShop.as_view(), name="book_whole"),
    path("template/<slug:sort>/", views.Template.as_view(), name="book_template"),
    path("<key:pk>/", views.OneBook.as_view(), name="book"),
    path("<key:pk>/away/", views.Away.as_view(), name="book_away"),
]
