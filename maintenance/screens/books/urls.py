"""Addresses of spreadsheets in and out."""

from django.urls import path

from . import lists, views

urlpatterns = [
    path("", views.NewBook.as_view(), name="book_new"),
    path("whole/", views.WholeShop.as_view(), name="book_whole"),
    path("template/<slug:sort>/", views.Template.as_view(), name="book_template"),
    path("list/<int:pk>/", lists.OneList.as_view(), name="list"),
    path("bring/<slug:sort>/", lists.NewList.as_view(), name="list_new"),
    path("bring/<slug:sort>/list.xlsx", lists.GivenOut.as_view(), name="list_out"),
    path("<int:pk>/", views.OneBook.as_view(), name="book"),
    path("<int:pk>/away/", views.Away.as_view(), name="book_away"),
]
