"""Every address under ``/api/v1/``."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, path, re_path

from api.changeover_urls import CHANGEOVERS
from api.count_urls import COUNTS
from api.errors import no_such_address
from api.regrind_order_urls import REGRIND_ORDERS
from api.regrind_plan_urls import REGRIND_PLANS
from api.setup_urls import SETUPS as SET_UP
from api.views import (
    backups,
    contradictions,
    devices,
    drawing_files,
    drawing_parts,
    drawings,
    homes,
    import_mapping,
    import_tasks,
    imports,
    incidents,
    jobs,
    kit_fill,
    kits,
    loans,
    mills,
    owner_acts,
    owners,
    pictures,
    piece_records,
    pieces,
    places,
    purchases,
    scans,
    schema,
    set_gaps,
    set_parts,
    sets,
    setup_sheet,
    stock,
    stock_hand,
    task_files,
)
from api.wear_urls import WEAR

PIECES = [
    path("contradictions/", contradictions.Contradictions.as_view(), name="api-contradictions"),
    path(
        "contradictions/<int:number>/settle/",
        contradictions.Settle.as_view(),
        name="api-contradiction-settle",
    ),
    path("pieces/", pieces.Pieces.as_view(), name="api-pieces"),
    path("pieces/<str:code>/", pieces.OnePiece.as_view(), name="api-piece"),
    path("pieces/<str:code>/history/", pieces.PieceHistory.as_view(), name="api-piece-history"),
    path("pieces/<str:code>/hold/", pieces.HoldPiece.as_view(), name="api-piece-hold"),
    path("pieces/<str:code>/lift/", pieces.LiftPiece.as_view(), name="api-piece-lift"),
    path("pieces/<str:code>/stop/", incidents.StopPiece.as_view(), name="api-piece-stop"),
    path(
        "pieces/<str:code>/condition/",
        incidents.SayCondition.as_view(),
        name="api-piece-condition",
    ),
    path(
        "pieces/<str:code>/condition/undo/",
        incidents.UndoCondition.as_view(),
        name="api-piece-condition-undo",
    ),
    path("pieces/<str:code>/aliases/", pieces.PieceAliases.as_view(), name="api-piece-aliases"),
    path(
        "pieces/<str:code>/readings/",
        piece_records.PieceReadings.as_view(),
        name="api-piece-readings",
    ),
    path("pieces/<str:code>/work/", piece_records.PieceWork.as_view(), name="api-piece-work"),
    path(
        "pieces/<str:code>/lengths/", piece_records.PieceLengths.as_view(), name="api-piece-lengths"
    ),
    path("pieces/<str:code>/home/", homes.PieceHome.as_view(), name="api-piece-home"),
    path("stock/", stock.Stock.as_view(), name="api-stock"),
    path("stock/needs/", stock_hand.StockNeeds.as_view(), name="api-stock-needs"),
    path("stock/<str:code>/", stock.OneStock.as_view(), name="api-stock-line"),
    path("stock/<str:code>/change/", stock.ChangeStock.as_view(), name="api-stock-change"),
    path("stock/<str:code>/history/", stock_hand.StockHistory.as_view(), name="api-stock-history"),
    path("stock/<str:code>/undo/", stock_hand.UndoStock.as_view(), name="api-stock-undo"),
    path("stock/<str:code>/put-back/", stock_hand.PutBackStock.as_view(), name="api-stock-back"),
]
PICTURES = [
    path("pictures/", pictures.Pictures.as_view(), name="api-pictures"),
    path("pictures/<int:number>/", pictures.OnePicture.as_view(), name="api-picture"),
    path("pictures/<int:number>/words/", pictures.SayPicture.as_view(), name="api-picture-say"),
    path(
        "pictures/<int:number>/take-back/",
        pictures.TakeBackPicture.as_view(),
        name="api-picture-take-back",
    ),
    path(
        "pictures/<int:number>/put-back/",
        pictures.PutBackPicture.as_view(),
        name="api-picture-put-back",
    ),
    path("pictures/<int:number>/file/", pictures.PictureFile.as_view(), name="api-picture-file"),
    path(
        "pictures/<int:number>/small/",
        pictures.SmallPictureFile.as_view(),
        name="api-picture-small",
    ),
    path("incidents/", incidents.Incidents.as_view(), name="api-incidents"),
    path("incidents/<int:number>/", incidents.OneIncident.as_view(), name="api-incident"),
    path(
        "incidents/<int:number>/undo-stop/",
        incidents.UndoStop.as_view(),
        name="api-incident-undo-stop",
    ),
]
OWNERS = [
    path("owners/<str:code>/register/", owners.Register.as_view(), name="api-owner-register"),
    path("owners/<str:code>/pieces/", owners.OwnerPieces.as_view(), name="api-owner-pieces"),
    path("owners/<str:code>/marks/", owners.Marks.as_view(), name="api-owner-marks"),
    path(
        "owners/<str:code>/approvals/", owner_acts.Approvals.as_view(), name="api-owner-approvals"
    ),
    path("approvals/<int:number>/letter/", owner_acts.Letter.as_view(), name="api-letter"),
    path("owner-questions/", owner_acts.Questions.as_view(), name="api-owner-questions"),
    path("owner-reports/", owner_acts.Reports.as_view(), name="api-owner-reports"),
    path("owner-reports/<int:number>/", owner_acts.OneReport.as_view(), name="api-owner-report"),
    path(
        "owner-reports/<int:number>/notes/",
        owner_acts.ReportNotes.as_view(),
        name="api-owner-report-notes",
    ),
    path("pieces/<str:code>/owner-mark/", owners.PieceMark.as_view(), name="api-piece-owner-mark"),
    path("insured/", owners.Insured.as_view(), name="api-insured"),
    path("dormant/", owners.Dormant.as_view(), name="api-dormant"),
    path("tasks/<int:number>/file/", task_files.TaskFile.as_view(), name="api-task-file"),
]
PLACES = [
    path("places/", places.Places.as_view(), name="api-places"),
    path("places/<str:code>/counts-back/", stock_hand.CountsBack.as_view(), name="api-counts-back"),
    path("places/<str:code>/", places.OnePlace.as_view(), name="api-place"),
    path("places/<str:code>/home/", homes.PlaceHome.as_view(), name="api-place-home"),
    path("places/<str:code>/homes/", homes.BelongsHere.as_view(), name="api-place-homes"),
    path("places/<str:code>/put-away/", homes.PutAwayFrom.as_view(), name="api-put-away"),
    path("homes/undo/", homes.UndoHomes.as_view(), name="api-homes-undo"),
    path("loans/", loans.Loans.as_view(), name="api-loans"),
    path("loans/due/", loans.ManyDue.as_view(), name="api-loans-due"),
    path("loans/due/undo/", loans.UndoDue.as_view(), name="api-loans-due-undo"),
    path("loans/<uuid:number>/", loans.OneLoan.as_view(), name="api-loan"),
    path("loans/<uuid:number>/undo/", loans.UndoHandOut.as_view(), name="api-loan-undo"),
    path("owners/", owners.Owners.as_view(), name="api-owners"),
    path("owners/<str:code>/", owners.OneOwner.as_view(), name="api-owner"),
    *OWNERS,
]
DRAWINGS = [
    path("drawings/", drawings.Drawings.as_view(), name="api-drawings"),
    path(
        "drawings/<path:number>/revisions/<str:revision>/features/<int:order>/",
        drawing_parts.OneFeature.as_view(),
        name="api-feature",
    ),
    path(
        "drawings/<path:number>/revisions/<str:revision>/features/",
        drawing_parts.Features.as_view(),
        name="api-features",
    ),
    path(
        "drawings/<path:number>/old-pieces/",
        drawing_parts.OldPieces.as_view(),
        name="api-old-pieces",
    ),
    path(
        "drawings/<path:number>/revisions/<str:revision>/files/<slug:sha256>/",
        drawing_files.OneDrawingFile.as_view(),
        name="api-drawing-file",
    ),
    path(
        "drawings/<path:number>/revisions/<str:revision>/files/",
        drawing_files.DrawingFiles.as_view(),
        name="api-drawing-files",
    ),
    path(
        "drawings/<path:number>/revisions/<str:revision>/",
        drawings.OneRevision.as_view(),
        name="api-revision",
    ),
    path("drawings/<path:number>/revisions/", drawings.Revisions.as_view(), name="api-revisions"),
    path("drawings/<path:number>/", drawings.OneDrawing.as_view(), name="api-drawing"),
]
MILLS = [
    path("mills/", mills.Mills.as_view(), name="api-mills"),
    path(
        "mills/<path:number>/stations/<int:station>/<str:which>/",
        mills.OneShaft.as_view(),
        name="api-shaft",
    ),
    path(
        "mills/<path:number>/stations/<int:station>/",
        mills.OneStation.as_view(),
        name="api-station",
    ),
    path("mills/<path:number>/drive-groups/", mills.DriveGroups.as_view(), name="api-drive-groups"),
    path("mills/<path:number>/", mills.OneMill.as_view(), name="api-mill"),
]
SETS = [
    path("sets/", sets.Sets.as_view(), name="api-sets"),
    path("sets/<path:number>/passes/", set_parts.Passes.as_view(), name="api-set-passes"),
    path("sets/<path:number>/positions/", set_parts.Positions.as_view(), name="api-set-positions"),
    path("sets/<path:number>/variants/", set_parts.Variants.as_view(), name="api-set-variants"),
    path("sets/<path:number>/copies/", set_parts.Copies.as_view(), name="api-set-copies"),
    path(
        "sets/<path:number>/copies/<str:letter>/allot/",
        set_parts.Allotments.as_view(),
        name="api-set-allot",
    ),
    path(
        "sets/<path:number>/copies/<str:letter>/homes/",
        homes.CopyBelongsHere.as_view(),
        name="api-copy-homes",
    ),
    path("sets/<path:number>/charts/", set_parts.Charts.as_view(), name="api-set-charts"),
    path(
        "sets/<path:number>/charts/<str:mill>/passes/<int:set_pass>/",
        set_parts.ChartPass.as_view(),
        name="api-chart-pass",
    ),
    path(
        "sets/<path:number>/charts/<str:mill>/passes/<int:set_pass>/settings/",
        set_gaps.Axes.as_view(),
        name="api-axes",
    ),
    path(
        "sets/<path:number>/charts/<str:mill>/passes/<int:set_pass>/settings/<str:name>/",
        set_gaps.OneAxis.as_view(),
        name="api-axis",
    ),
    path("sets/<path:number>/fills/", set_gaps.Fills.as_view(), name="api-set-fills"),
    path(
        "sets/<path:number>/fills/<int:set_pass>/<str:shaft>/<int:after_order>/",
        set_gaps.OneFill.as_view(),
        name="api-set-fill",
    ),
    path(
        "sets/<path:number>/characteristics/",
        set_gaps.Characteristics.as_view(),
        name="api-characteristics",
    ),
    path(
        "sets/<path:number>/characteristics/<str:name>/",
        set_gaps.OneCharacteristic.as_view(),
        name="api-characteristic",
    ),
    path("sets/<path:number>/", sets.OneSet.as_view(), name="api-set"),
]
KITS = [
    path("jobs/", jobs.Jobs.as_view(), name="api-jobs"),
    path("jobs/<path:number>/cancel/", jobs.CancelJob.as_view(), name="api-job-cancel"),
    path("jobs/<path:number>/", jobs.OneJob.as_view(), name="api-job"),
    path("kits/", kits.Kits.as_view(), name="api-kits"),
    path("kits/<str:number>/", kits.OneKit.as_view(), name="api-kit"),
    path("kits/<str:number>/assemble/", kits.AssembleKit.as_view(), name="api-kit-assemble"),
    path("kits/<str:number>/close/", kits.CloseKit.as_view(), name="api-kit-close"),
    path("kits/<str:number>/fill/", kit_fill.KitFill.as_view(), name="api-kit-fill"),
    path("kits/<str:number>/fill/clear/", kit_fill.ClearFills.as_view(), name="api-fill-clear"),
    path("kits/<str:number>/fill/not-there/", kit_fill.NotThere.as_view(), name="api-not-there"),
    path("kits/<str:number>/fill/pin/", kit_fill.PinFill.as_view(), name="api-fill-pin"),
    path("kits/<str:number>/fill/swap/", kit_fill.SwapSpacer.as_view(), name="api-fill-swap"),
    path("kits/<str:number>/fill/by-hand/", kit_fill.FillByHand.as_view(), name="api-fill-hand"),
    path("kits/<str:number>/prove/", kits.ProveKit.as_view(), name="api-kit-prove"),
    path("setups/<str:number>/chart/", setup_sheet.SetupSheet.as_view(), name="api-setup-chart"),
]

PURCHASES = [
    path("purchases/", purchases.Purchases.as_view(), name="api-purchases"),
    path(
        "purchases/<path:number>/lines/<int:line>/receive/",
        purchases.ReceiveLine.as_view(),
        name="api-purchase-receive",
    ),
    path(
        "purchases/<path:number>/lines/<int:line>/",
        purchases.OnePurchaseLine.as_view(),
        name="api-purchase-line",
    ),
    path(
        "purchases/<path:number>/lines/",
        purchases.PurchaseLines.as_view(),
        name="api-purchase-lines",
    ),
    path("purchases/<path:number>/", purchases.OnePurchase.as_view(), name="api-purchase"),
    path("receipts/<int:receipt>/", purchases.OneReceipt.as_view(), name="api-receipt"),
    path(
        "receipts/<int:receipt>/take-back/",
        purchases.TakeBackReceipt.as_view(),
        name="api-receipt-take-back",
    ),
    path(
        "receipts/<int:receipt>/inspect/",
        purchases.InspectReceipt.as_view(),
        name="api-receipt-inspect",
    ),
]

urlpatterns: list[URLPattern | URLResolver] = [
    path("scans/", scans.record, name="api-scans"),  # asked most
    path("devices/", devices.Devices.as_view(), name="api-devices"),
    path("devices/<uuid:key>/", devices.OneDevice.as_view(), name="api-device"),
    path("people/<str:username>/badges/", devices.Badges.as_view(), name="api-badges"),
    path(
        "people/<str:username>/badges/<int:number>/end/",
        devices.EndBadge.as_view(),
        name="api-badge-end",
    ),
    path("people/<str:username>/pin/", devices.Pin.as_view(), name="api-pin"),
    *WEAR,
    *CHANGEOVERS,
    *COUNTS,
    *PURCHASES,
    *PIECES,
    *PICTURES,
    *PLACES,
    *DRAWINGS,
    *MILLS,
    *SETS,
    *KITS,
    *SET_UP,
    *REGRIND_ORDERS,
    *REGRIND_PLANS,
    path("imports/", imports.Imports.as_view(), name="api-imports"),
    path("imports/<int:number>/", imports.OneImport.as_view(), name="api-import"),
    path("imports/<int:number>/apply/", imports.ApplyImport.as_view(), name="api-import-apply"),
    path(
        "imports/<int:number>/mapping/",
        import_mapping.MapImport.as_view(),
        name="api-import-mapping",
    ),
    path(
        "imports/<int:number>/cancel/",
        import_tasks.CancelImport.as_view(),
        name="api-import-cancel",
    ),
    path(
        "imports/<int:number>/files/", import_tasks.ImportFiles.as_view(), name="api-import-files"
    ),
    path(
        "imports/<int:number>/files/<int:key>/",
        import_tasks.OneImportFile.as_view(),
        name="api-import-file",
    ),
    path(
        "imports/<int:number>/problems.csv",
        import_tasks.ImportProblems.as_view(),
        name="api-import-problems",
    ),
    path("imports/<int:number>/drop/", import_mapping.DropImport.as_view(), name="api-import-drop"),
    path("import-mappings/", import_mapping.KeptMappings.as_view(), name="api-import-mappings"),
    path("backups/", backups.Backups.as_view(), name="api-backups"),
    path("tasks/<int:number>/", imports.OneTask.as_view(), name="api-task"),
    path("schema/", schema.Schema.as_view(), name="api-schema"),
    re_path(r"^[\s\S]*$", no_such_address, name="api-nowhere"),
]
