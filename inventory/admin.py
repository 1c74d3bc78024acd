"""The support desk: lists, links, search. The ledger can be looked at here, not touched."""

from typing import Any

from django.contrib import admin
from django.db.models import Model
from django.http import HttpRequest

from inventory.models import (
    Claim,
    Delivery,
    Fibre,
    Inspection,
    Movement,
    OutlookMark,
    Place,
    Reservation,
    Supplier,
    Trap,
    Treatment,
    Yarn,
    YarnDemand,
    YarnLot,
    YarnOutlook,
)


class LookOnly(admin.ModelAdmin):
    """Rows that only the verbs write."""

    def has_add_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False


@admin.register(Yarn)
class YarnAdmin(LookOnly):
    list_display = ("code", "name", "count_as_bought", "count_tex", "spinning", "supplier", "is_in_use")
    list_filter = ("spinning", "is_in_use", "supplier")
    list_select_related = ("supplier",)
    search_fields = ("code", "name", "count_as_bought")


@admin.register(YarnLot)
class YarnLotAdmin(LookOnly):
    list_display = ("label", "yarn", "dye_lot", "place", "received_on", "is_quarantined", "is_shade_approved")
    list_filter = ("is_quarantined", "is_shade_approved", "place")
    list_select_related = ("yarn", "place")
    search_fields = ("label", "dye_lot", "yarn__code", "yarn__name")
    date_hierarchy = "received_on"


@admin.register(Movement)
class MovementAdmin(LookOnly):
    list_display = (
        *("lot", "seq", "kind", "change_g", "held_change_g", "on_hand_after_g", "held_after_g"),
        *("reservation", "at", "by", "reason"),
    )
    list_filter = ("kind",)
    list_select_related = ("lot", "reservation__lot", "by")
    search_fields = ("=lot__label", "=key", "document")
    # A million lines aren't counted to show fifty.
    show_full_result_count = False
    ordering = ("-pk",)


@admin.register(Reservation)
class ReservationAdmin(LookOnly):
    list_display = ("lot", "for_what", "made_at", "by")
    list_select_related = ("lot", "by")
    search_fields = ("=lot__label", "for_what")
    ordering = ("-pk",)


@admin.register(Delivery)
class DeliveryAdmin(LookOnly):
    list_display = ("number", "yarn", "supplier", "ordered_g", "expected_on", "is_closed")
    list_filter = ("is_closed", "supplier")
    list_select_related = ("yarn", "supplier")
    search_fields = ("number", "yarn__code", "dye_lot")


@admin.register(Claim)
class ClaimAdmin(LookOnly):
    list_display = ("number", "delivery", "invoiced_g", "due_g", "short_g", "state", "made_on", "allowed_g")
    list_filter = ("state",)
    list_select_related = ("delivery",)
    search_fields = ("=number", "delivery__number", "invoice")


@admin.register(YarnOutlook)
class YarnOutlookAdmin(LookOnly):
    list_display = ("yarn", "on_hand_g", "held_g", "incoming_g", "demand_g", "short_on", "order_by", "worked_at")
    list_select_related = ("yarn",)
    search_fields = ("yarn__code",)


@admin.register(YarnDemand)
class YarnDemandAdmin(LookOnly):
    list_display = ("yarn", "on", "use", "grams", "label", "source")
    list_filter = ("use",)
    list_select_related = ("yarn",)
    search_fields = ("yarn__code", "label", "source")


@admin.register(OutlookMark)
class OutlookMarkAdmin(LookOnly):
    list_display = ("pk", "yarn")
    list_select_related = ("yarn",)


@admin.register(Inspection)
class InspectionAdmin(LookOnly):
    list_display = ("place", "on", "webbing_moths", "case_moths", "moths", "larvae", "beetles", "note", "by")
    list_filter = ("place",)
    list_select_related = ("place", "by")


@admin.register(Place)
class PlaceAdmin(LookOnly):
    list_display = ("code", "name", "is_dark")
    search_fields = ("code", "name")


@admin.register(Trap)
class TrapAdmin(LookOnly):
    list_display = ("code", "place", "catches", "lure_renewed_on", "is_hung")
    list_select_related = ("place",)
    search_fields = ("code", "place__code")


@admin.register(Treatment)
class TreatmentAdmin(LookOnly):
    list_display = ("pk", "way", "place", "began_on", "ended_on", "core_c", "held_h", "by")
    list_filter = ("way",)
    list_select_related = ("place", "by")


@admin.register(Supplier)
class SupplierAdmin(LookOnly):
    list_display = ("code", "name", "lead_time_days")
    search_fields = ("code", "name")


@admin.register(Fibre)
class FibreAdmin(LookOnly):
    list_display = ("name", "is_protein", "regain_pct", "regain_authority")
    search_fields = ("name",)
