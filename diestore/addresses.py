"""Addresses of the register."""

from django.urls import path

from diestore.access import first_start, own_settings, sign_ins
from diestore.access import views as access_views
from diestore.cards import described, shop
from diestore.cards import views as card_views
from diestore.finding import views as finding_views
from diestore.frame import words
from diestore.register import new_die, views
from diestore.service import demo_page
from diestore.service import views as service_views

app_name = "diestore"
urlpatterns = [
    path("sign-in/", access_views.SignIn.as_view(), name="sign_in"),
    path("first-start/", first_start.FirstStart.as_view(), name="first_start"),
    path("settings/shop/", first_start.ShopSettings.as_view(), name="shop"),
    path("sign-out/", access_views.SignOut.as_view(), name="sign_out"),
    path("password/", access_views.ChangePassword.as_view(), name="password"),
    path("who/", access_views.Who.as_view(), name="who"),
    path("people/", access_views.People.as_view(), name="people"),
    path("people/sign-ins/", sign_ins.SignIns.as_view(), name="sign_ins"),
    path("people/<key:pk>/", access_views.OnePerson.as_view(), name="person"),
    path("settings/", own_settings.MySettings.as_view(), name="settings"),
    path("dies/", views.Dies.as_view(), name="dies"),
    path("dies/new/", new_die.NewDie.as_view(), name="die_new"),
    path("dies/<key:pk>/", views.DiePage.as_view(), name="die"),
    path("d/<path:code>/", views.DieByLabel.as_view(), name="die_by_label"),
    path("register/", card_views.Register.as_view(), name="register"),
    path("register/strike/<key:pk>/", card_views.StrikeChange.as_view(), name="change_strike"),
    *(address for card in shop.CARDS for address in described.addresses_of(card)),
    path("alive/", service_views.alive, name="alive"),
    path("demo-shop/", demo_page.DemoBeside.as_view(), name="demo_beside"),
    path("service/", service_views.service_page, name="service"),
    path("service.json", service_views.service_json, name="service_json"),
    path("find/", finding_views.find, name="find"),
    path("find/lines/", finding_views.lines, name="find_lines"),
    path("keys/", finding_views.keys, name="keys"),
    path("words/", words.Words.as_view(), name="words"),
]
