"""Addresses of the reports."""

from django.urls import path

from reports.changes import views as changes_views
from reports.cost import ledger_views, part_views, promise_views, replace_views, views, years_views
from reports.gains import views as gains_views
from reports.offers import paper_views as offer_paper
from reports.offers import rows as offer_rows
from reports.offers import series_views
from reports.offers import views as offers_views
from reports.owners import ahead_views, condition_views, customers, outside
from reports.record import views as record_views
from reports.sources import views as sources_views
from reports.spares import months_page, together
from reports.spares import views as spares_views

from . import calendar, today

app_name = "reports"
urlpatterns: list = [
    path("", today.Today.as_view(), name="today"),
    path("calendar/<str:token>.ics", calendar.calendar, name="calendar"),
    path("bench/bench.ics", calendar.bench_calendar, name="bench_calendar"),
    path("spares/", spares_views.spares_page, name="spares"),
    path("spares/spares.csv", spares_views.spares_csv, name="spares_csv"),
    path("spares/money/", spares_views.shelf_page, name="shelf_money"),
    path("spares/ahead/", months_page.page, name="spares_ahead"),
    path("spares/ahead.csv", months_page.as_csv, name="spares_ahead_csv"),
    path("spares/ahead.xlsx", months_page.as_xlsx, name="spares_ahead_xlsx"),
    path("spares/record/", record_views.page, name="spares_record"),
    path("spares/record.csv", record_views.as_csv, name="spares_record_csv"),
    path("spares/<key:pk>/", spares_views.spare_page, name="spare"),
    path("spares/<key:pk>/sources/", sources_views.sources_page, name="sources"),
    path("spares/<key:pk>/sources/new/", sources_views.OneSource.as_view(), name="source_new"),
    path("spares/<key:pk>/sources/<key:source>/", sources_views.OneSource.as_view(), name="source"),
    path("spares/orders/<key:pk>/more/", together.order_more, name="order_more"),
    path("spares/<key:pk>/level/", sources_views.Level.as_view(), name="level"),
    path("cost/", views.cost_page, name="cost"),
    path("cost/outlines/", offers_views.outlines_page, name="outlines"),
    path("cost/outlines/new/", offers_views.PutOutline.as_view(), name="outline_new"),
    path("cost/outlines/prices/", offers_views.Prices.as_view(), name="build_prices"),
    path("cost/outlines/<key:pk>/", offers_views.outline_page, name="outline"),
    path("cost/outlines/<key:pk>/change/", offers_views.PutOutline.as_view(), name="outline_change"),
    path("cost/outlines/<key:pk>/copy/", offers_views.copy, name="outline_copy"),
    path("cost/outlines/<key:pk>/away/", offers_views.put_away, name="outline_away"),
    path("cost/outlines/<key:pk>/assumed/", offers_views.Assumed.as_view(), name="outline_assumed"),
    path("cost/outlines/<key:pk>/ways/new/", offers_views.PutWay.as_view(), name="outline_way_new"),
    path("cost/outlines/<key:pk>/ways/<int:number>/", offers_views.PutWay.as_view(), name="outline_way"),
    path("cost/outlines/<key:pk>/offer.pdf", offer_paper.as_pdf, name="outline_pdf"),
    path("cost/outlines/<key:pk>/outline.csv", offer_rows.as_csv, name="outline_csv"),
    path("cost/outlines/<key:pk>/outline.xlsx", offer_rows.as_xlsx, name="outline_xlsx"),
    path("cost/outlines/<key:pk>/series/", series_views.series_page, name="outline_series"),
    path("cost/outlines/<key:pk>/series.csv", series_views.series_csv, name="outline_series_csv"),
    path("cost/changes/", changes_views.page, name="changes"),
    path("cost/changes.csv", changes_views.as_csv, name="changes_csv"),
    path("cost/gains/", gains_views.page, name="gains"),
    path("cost/gains.csv", gains_views.as_csv, name="gains_csv"),
    path("cost/<key:pk>/", views.cost_die_page, name="cost_die"),
    path("cost/<key:pk>/part/", part_views.part_page, name="cost_part"),
    path("cost/<key:pk>/promise/", promise_views.promise_page, name="cost_promise"),
    path("cost/<key:pk>/ledger/", ledger_views.page, name="cost_ledger"),
    path("cost/<key:pk>/ledger.csv", ledger_views.as_csv, name="cost_ledger_csv"),
    path("cost/<key:pk>/ledger.xlsx", ledger_views.as_xlsx, name="cost_ledger_xlsx"),
    path("cost/<key:pk>/ledger.pdf", ledger_views.as_pdf, name="cost_ledger_pdf"),
    path("cost/<key:pk>/condition/", condition_views.ConditionPage.as_view(), name="condition"),
    path("cost/<key:pk>/condition.pdf", condition_views.condition_pdf, name="condition_pdf"),
    path("customers/", customers.customers, name="customer_list"),
    path("customers/<key:pk>/", customers.CustomerPage.as_view(), name="customer"),
    path("customers/<key:pk>/ahead/", ahead_views.ahead_page, name="customer_ahead"),
    path("customers/links/<key:pk>/withdraw/", customers.withdraw_link, name="link_withdraw"),
    path("tools/<str:token>/", outside.tools, name="tools"),
    path("tools/<str:token>/<key:pk>/", outside.tool, name="tools_report"),
    path("tools/<str:token>/<key:pk>/report.pdf", outside.tool_pdf, name="tools_report_pdf"),
    path("customers/reports/<key:pk>/", condition_views.signed_report, name="signed_report"),
    path("customers/reports/<key:pk>/report.pdf", condition_views.signed_report_pdf, name="signed_report_pdf"),
    path("customers/reports/<key:pk>/strike/", condition_views.StrikeReport.as_view(), name="signed_report_strike"),
    path("cost/<key:pk>/years/", years_views.years_page, name="cost_years"),
    path("cost/<key:pk>/years.csv", years_views.years_csv, name="cost_years_csv"),
    path("cost/<key:pk>/replace/", replace_views.replace_page, name="cost_replace"),
    path("cost/<key:pk>/replace.csv", replace_views.replace_csv, name="cost_replace_csv"),
]
