"""Addresses of the reports."""

app_name = "reports"
urlpatterns: list = []
