"""The addresses of the records: pieces, stock, mills, sets, drawings, places, the shop."""

from __future__ import annotations

from django.urls import URLPattern, path

from tooling.web import (
    backups,
    drawing_parts,
    drawings,
    holds,
    incidents,
    jobs,
    kit_acts,
    kit_paper,
    kits,
    mills,
    pictures,
    piece_records,
    pieces,
    places,
    set_gaps,
    set_parts,
    sets,
    shop,
    stock,
    stock_hand,
    stock_needs,
    today,
)
from tooling.web.changeover_addresses import CHANGEOVERS
from tooling.web.count_addresses import COUNTS
from tooling.web.fill_addresses import FILLS
from tooling.web.keeping_addresses import KEEPING
from tooling.web.owner_addresses import OWNERS
from tooling.web.purchase_addresses import PURCHASES
from tooling.web.setup_addresses import SETUPS
from tooling.web.setup_sheet_addresses import SHEETS

KITS: list[URLPattern] = [
    path("", today.go_today, name="home"),
    path("today/", today.show_today, name="today"),
    path("kits/", kits.show_kits, name="kits"),
    path("kits/plan/", jobs.plan_job, name="job-plan"),
    path("kits/open/", kit_acts.open_kit, name="kit-open"),
    path("kits/jobs/<path:number>/edit/", jobs.edit_job, name="job-edit"),
    path("kits/jobs/<path:number>/cancel/", jobs.cancel_job, name="job-cancel"),
    path("kits/<slug:number>/", kits.show_kit, name="kit"),
    path("kits/<slug:number>/live/", kits.show_live, name="kit-live"),
    path(
        "kits/<slug:number>/stations/<int:station>/<shaft:which>/",
        kits.show_shaft,
        name="kit-shaft",
    ),
    path("kits/<slug:number>/pull-list/", kits.show_pull_list, name="kit-pull-list"),
    path("kits/<slug:number>/pull-list.pdf", kit_paper.pull_list_file, name="kit-pull-list-pdf"),
    path("kits/<slug:number>/fit/", kits.show_fit, name="kit-fit"),
    path("kits/<slug:number>/place/", kit_acts.set_place, name="kit-place"),
    path("kits/<slug:number>/assemble/", kit_acts.assemble, name="kit-assemble"),
    path("kits/<slug:number>/choose/", kit_acts.choose, name="kit-choose"),
    path("kits/<slug:number>/tick/", kit_acts.tick, name="kit-tick"),
    path("kits/<slug:number>/fetch/", kit_acts.fetch, name="kit-fetch"),
    path("kits/<slug:number>/turn/", kit_acts.turn, name="kit-turn"),
    path("kits/<slug:number>/close/", kit_acts.close, name="kit-close"),
    path("kits/<slug:number>/prove/", kit_acts.prove, name="kit-prove"),
]
PIECES: list[URLPattern] = [
    path("pieces/", pieces.show_pieces, name="pieces"),
    path("pieces/new/", pieces.new_pieces, name="piece-new"),
    path("pieces/stock/", stock.show_stock, name="stock"),
    path("pieces/stock/new/", stock.new_line, name="stock-new"),
    path("pieces/stock/make-or-buy/", stock_needs.show_needs, name="stock-needs"),
    path("pieces/stock/make-or-buy.csv", stock_needs.needs_csv, name="stock-needs-csv"),
    path("pieces/stock/make-or-buy/made/", stock_needs.made, name="stock-needs-made"),
    path("pieces/stock/make-or-buy/ordered/", stock_needs.ordered, name="stock-needs-ordered"),
    path("pieces/stock/<slug:code>/", stock.show_line, name="stock-line"),
    path("pieces/stock/<slug:code>/change/", stock.change_line, name="stock-change"),
    path("pieces/stock/<slug:code>/take/", stock_hand.take, name="stock-take"),
    path("pieces/stock/<slug:code>/put-back/", stock_hand.put_back, name="stock-put-back"),
    path("pieces/stock/<slug:code>/undo/", stock_hand.undo, name="stock-undo"),
    path("pieces/stock/<slug:code>/least/", stock.set_least, name="stock-least"),
    path("pieces/<slug:code>/", pieces.show_piece, name="piece"),
    path("pieces/<slug:code>/edit/", pieces.edit_piece, name="piece-edit"),
    path("pieces/<slug:code>/stop/", holds.stop, name="piece-stop"),
    path("pieces/<slug:code>/stop/<int:number>/", holds.stopped, name="piece-stopped"),
    path("pieces/<slug:code>/stop/<int:number>/undo/", holds.undo_stop, name="piece-stop-undo"),
    path("pieces/<slug:code>/lift/", holds.lift_hold, name="piece-lift"),
    path("pieces/<slug:code>/condition/", holds.condition, name="piece-condition"),
    path("pieces/<slug:code>/condition/undo/", holds.undo_condition, name="piece-condition-undo"),
    path("pieces/<slug:code>/aliases/", pieces.add_alias, name="alias-add"),
    path(
        "pieces/<slug:code>/aliases/<int:number>/remove/", pieces.remove_alias, name="alias-remove"
    ),
    path("pieces/<slug:code>/reading/", piece_records.new_reading, name="reading-new"),
    path("pieces/<slug:code>/work/", piece_records.new_work, name="work-new"),
    path("pieces/<slug:code>/length/", piece_records.new_length, name="length-new"),
]
PICTURES: list[URLPattern] = [
    path("incidents/", incidents.show_incidents, name="incidents"),
    path("incidents/new/", incidents.new_incident, name="incident-new"),
    path("incidents/<int:number>/", incidents.show_incident, name="incident"),
    path("incidents/<int:number>/correct/", incidents.correct, name="incident-correct"),
    path("pictures/", pictures.show_pictures, name="pictures"),
    path("pictures/keep/", pictures.keep, name="picture-keep"),
    path("pictures/<slug:sha256>.jpg", pictures.serve, name="picture-file"),
    path("pictures/<int:number>/", pictures.show_picture, name="picture"),
    path("pictures/<int:number>/words/", pictures.say, name="picture-say"),
    path("pictures/<int:number>/take-back/", pictures.take_back, name="picture-take-back"),
    path("pictures/<int:number>/put-back/", pictures.put_back, name="picture-put-back"),
]
MILLS: list[URLPattern] = [
    path("mills/", mills.show_mills, name="mills"),
    path("mills/new/", mills.new_mill, name="mill-new"),
    path("mills/<path:number>/edit/", mills.edit_mill, name="mill-edit"),
    path("mills/<path:number>/drive-group/", mills.drive_group, name="drive-group"),
    path("mills/<path:number>/stations/<int:station>/", mills.edit_station, name="station-edit"),
    path(
        "mills/<path:number>/stations/<int:station>/<int:shaft>/",
        mills.edit_shaft,
        name="shaft-edit",
    ),
    path("mills/<path:number>/", mills.show_mill, name="mill"),
]
DRAWINGS: list[URLPattern] = [
    path("sets/drawings/", drawings.show_drawings, name="drawings"),
    path("sets/drawings/new/", drawings.new_drawing, name="drawing-new"),
    path("sets/drawings/files/<slug:sha256>/", drawings.serve_file, name="file"),
    path(
        "sets/drawings/<path:number>/revisions/<int:revision>/feature/",
        drawing_parts.save_feature,
        name="feature-save",
    ),
    path(
        "sets/drawings/<path:number>/revisions/<int:revision>/features/<int:order>/remove/",
        drawing_parts.remove_feature,
        name="feature-remove",
    ),
    path("sets/drawings/<path:number>/old-pieces/", drawing_parts.settle_old, name="old-pieces"),
    path("sets/drawings/<path:number>/title/", drawings.edit_title, name="drawing-title"),
    path("sets/drawings/<path:number>/revisions/", drawings.new_revision, name="revision-new"),
    path(
        "sets/drawings/<path:number>/revisions/<int:revision>/",
        drawings.edit_revision,
        name="revision-edit",
    ),
    path(
        "sets/drawings/<path:number>/revisions/<int:revision>/file/",
        drawings.attach_file,
        name="file-attach",
    ),
    path("sets/drawings/<path:number>/", drawings.show_drawing, name="drawing"),
]
SETS: list[URLPattern] = [
    path("sets/", sets.show_sets, name="sets"),
    path("sets/new/", sets.new_set, name="set-new"),
    path("sets/charts/<int:chart>/", set_parts.show_chart, name="chart"),
    path("sets/charts/<int:chart>/passes/<int:set_pass>/", set_parts.place_pass, name="chart-pass"),
    path(
        "sets/charts/<int:chart>/passes/<int:set_pass>/off/",
        set_parts.take_pass_off,
        name="chart-pass-off",
    ),
    path(
        "sets/charts/<int:chart>/passes/<int:set_pass>/setting/",
        set_gaps.save_axis,
        name="axis-save",
    ),
    path(
        "sets/charts/<int:chart>/passes/<int:set_pass>/setting/remove/",
        set_gaps.remove_axis,
        name="axis-remove",
    ),
    path("sets/<path:number>/middle-fill/", set_gaps.save_fill, name="fill-save"),
    path(
        "sets/<path:number>/middle-fill/<int:fill>/remove/",
        set_gaps.remove_fill,
        name="fill-remove",
    ),
    path(
        "sets/<path:number>/characteristic/",
        set_gaps.save_characteristic,
        name="characteristic-save",
    ),
    path(
        "sets/<path:number>/characteristic/remove/",
        set_gaps.remove_characteristic,
        name="characteristic-remove",
    ),
    path("sets/<path:number>/edit/", sets.edit_set, name="set-edit"),
    path("sets/<path:number>/pass/", sets.save_pass, name="pass-save"),
    path("sets/<path:number>/position/", sets.save_position, name="position-save"),
    path(
        "sets/<path:number>/position/<int:position>/remove/",
        sets.remove_position,
        name="position-remove",
    ),
    path("sets/<path:number>/position/<int:position>/allot/", set_parts.allot, name="allot"),
    path("sets/<path:number>/variants/", sets.add_variant, name="variant-add"),
    path("sets/<path:number>/copies/", set_parts.new_copy, name="copy-new"),
    path("sets/<path:number>/copies/<int:copy>/", set_parts.edit_copy, name="copy-edit"),
    path("sets/<path:number>/copies/<int:copy>/fill/", set_parts.fill_copy, name="copy-fill"),
    path("sets/<path:number>/charts/", set_parts.new_chart, name="chart-new"),
    path("sets/<path:number>/mills/<path:mill>/", sets.show_fit, name="set-fit"),
    path("sets/<path:number>/", sets.show_set, name="set"),
]
SHOP: list[URLPattern] = [
    path("shop/", shop.show_shop, name="shop"),
    path("shop/edit/", shop.edit_shop, name="shop-edit"),
    path("shop/backups/", backups.show_backups, name="backups"),
    path("shop/backups/make/", backups.make, name="backup-make"),
    path("shop/backups/<int:number>/stop/", backups.stop, name="backup-stop"),
    path("shop/backups/<str:name>/", backups.take, name="backup-take"),
    path("shop/myself/", shop.myself, name="myself"),
    path("shop/places/", places.show_places, name="places"),
    path("shop/places/new/", places.new_places, name="place-new"),
    path("shop/places/<slug:code>/", places.show_place, name="place"),
    path("shop/places/<slug:code>/edit/", places.edit_place, name="place-edit"),
    path("shop/places/<slug:code>/counts-back/", stock_hand.put_all_back, name="counts-back"),
    path("shop/people/", shop.show_people, name="people"),
    path("shop/people/new/", shop.new_person, name="person-new"),
    path("shop/people/<path:username>/edit/", shop.edit_person, name="person"),
    path("shop/gauges/", shop.show_gauges, name="gauges"),
    path("shop/gauges/new/", shop.new_gauge, name="gauge-new"),
    path("shop/gauges/<path:number>/edit/", shop.edit_gauge, name="gauge"),
    path("shop/settings/", shop.show_settings, name="settings"),
    path("shop/settings/<slug:name>/", shop.edit_setting, name="setting"),
    path("shop/settings/<slug:name>/reset/", shop.reset_setting, name="setting-reset"),
]

urlpatterns: list[URLPattern] = [
    *KITS,
    *FILLS,
    *KEEPING,
    *COUNTS,
    *PURCHASES,
    *SHEETS,
    *SETUPS,
    *PIECES,
    *PICTURES,
    *CHANGEOVERS,
    *MILLS,
    *DRAWINGS,
    *SETS,
    *SHOP,
    *OWNERS,
]
