"""Addresses of the log and the forecasts."""

from django.urls import include, path

from diestore.cards import described
from maintenance.screens.bench import cards as bench_cards
from maintenance.screens.causes import views as causes_views
from maintenance.screens.decide import views as decide_views
from maintenance.screens.die.station import StationPage
from maintenance.screens.die_card.views import DieCard
from maintenance.screens.due import views
from maintenance.screens.edge import views as edge_views
from maintenance.screens.entry import one_entry, restart, retirement
from maintenance.screens.heights import views as heights_views
from maintenance.screens.jobs import card as jobs_card
from maintenance.screens.jobs import views as jobs_views
from maintenance.screens.labels import views as labels_views
from maintenance.screens.move import views as move_views
from maintenance.screens.payers import views as payers_views
from maintenance.screens.pulls import views as pulls_views
from maintenance.screens.replay import views as replay_views
from maintenance.screens.set_up import sheet as set_up_sheet
from maintenance.screens.set_up import views as set_up_views
from maintenance.screens.track_record import views as track_record_views
from maintenance.screens.wear_model import views as wear_model_views

app_name = "maintenance"
urlpatterns = [
    path("due/", views.Due.as_view(), name="due"),
    path("due/pulls/", pulls_views.Pulls.as_view(), name="pulls"),
    path("dies/<key:pk>/run-or-sharpen/", decide_views.Decide.as_view(), name="decide"),
    path("measure-next/", decide_views.Round.as_view(), name="round"),
    path("dies/<key:pk>/card/", DieCard.as_view(), name="die_card"),
    path("dies/<key:pk>/stations/<path:code>/", StationPage.as_view(), name="die_station"),
    path("wear-model/presses/", causes_views.Presses.as_view(), name="presses"),
    path("wear-model/", wear_model_views.WearModel.as_view(), name="wear"),
    path("record/", track_record_views.Record.as_view(), name="record"),
    path("record/replay/", replay_views.YearsAgain.as_view(), name="replay"),
    path("record/restart/", restart.Restart.as_view(), name="restart"),
    path("dies/<key:pk>/payers/", payers_views.OfDie.as_view(), name="payers"),
    path("log/entries/<entry:sort>/<key:pk>/payer/", payers_views.OfEntry.as_view(), name="payers_entry"),
    path("log/retirement/", retirement.Retire.as_view(), name="retirement"),
    path("dies/<key:pk>/move/", move_views.Move.as_view(), name="move"),
    path("dies/<key:pk>/set-up/", set_up_views.SetUpPage.as_view(), name="set_up"),
    path("edges/<key:pk>/cycles/<int:number>/", causes_views.ShortCycle.as_view(), name="short_cycle"),
    path("dies/<key:pk>/heights/", heights_views.Heights.as_view(), name="heights"),
    path("dies/<key:pk>/set-up/sheet/", set_up_sheet.SetUpSheetPage.as_view(), name="set_up_sheet"),
    path("dies/<key:pk>/set-up/sheet.pdf", set_up_sheet.set_up_paper, name="set_up_paper"),
    path("edges/<key:pk>/", edge_views.EdgePage.as_view(), name="edge"),
    path("log/entries/<entry:sort>/<key:pk>/", one_entry.EntryPage.as_view(), name="entry"),
    path("log/", include("maintenance.screens.entry.urls")),
    path("inspections/", include("maintenance.screens.inspections.urls")),
    path("photos/", include("maintenance.screens.photos.urls")),
    path("bench/", include("maintenance.screens.bench.urls")),
    path("spares/shelf/", include("maintenance.screens.shelf.urls")),
    path("spares/movement/", include("maintenance.screens.movement.urls")),
    path("spares/orders/", include("maintenance.screens.orders.urls")),
    path("spares/revision/", include("maintenance.screens.revision.urls")),
    path("spares/lists/", include("maintenance.screens.books.list_urls")),
    path("bills/", include("maintenance.screens.bills.urls")),
    path("books/", include("maintenance.screens.books.urls")),
    *described.addresses_of(jobs_card.JOBS),
    *(address for card in bench_cards.CARDS for address in described.addresses_of(card)),
    path("register/labels/", labels_views.Labels.as_view(), name="labels"),
    path("register/jobs/<key:pk>/split/", jobs_views.Split.as_view(), name="jobs_split"),
    path("counters/", include("maintenance.screens.counters.urls")),
]
