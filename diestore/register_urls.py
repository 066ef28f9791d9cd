"""Addresses of the register."""

app_name = "diestore"
urlpatterns: list = []
