from typing import Any

from django.conf import settings
from django.core.validators import MinValueValidator, RegexValidator
from django.db import models
from django.db.models import Case, F, OuterRef, Q, Subquery, Sum, Value, When
from django.db.models.functions import Coalesce
from django.utils.translation import gettext
from django.utils.translation import gettext_noop as N_
from simple_history.models import HistoricalRecords

from inventory import draw, ledger, treatment
from mill.models import figure
from mill.retold import Retold, retold

# Rows with columns added by a queryset, which the model doesn't name.
Annotated = models.QuerySet[Any]


def told_once() -> "models.CharField[Any, Any]":
    """The key that a new record was sent with: sent again it is the same record, not another."""
    return models.CharField(
        max_length=64, unique=True, null=True, editable=False, help_text="The same key counts once."
    )


COLOUR = RegexValidator(r"^#[0-9a-fA-F]{6}$", "Write the colour as # and six digits, #7a5c3e.")


class Supplier(models.Model):
    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=120)
    lead_time_days = models.PositiveIntegerField(default=28)
    notes = models.TextField(blank=True)
    key = told_once()

    history = HistoricalRecords()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Place(models.Model):
    """Where yarn lies: a bay, a shelf, a cage."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=120)
    is_dark = models.BooleanField(default=False, help_text="Dark and seldom disturbed: inspected sooner.")
    key = told_once()

    history = HistoricalRecords()

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


class Fibre(models.Model):
    name = models.CharField(max_length=60, unique=True)
    is_protein = models.BooleanField(default=False, help_text="Wool, hair and silk, which moth larvae eat.")
    regain_pct = figure(5, 2, help_text="Commercial regain, on the oven-dry mass.")
    regain_authority = models.CharField(max_length=80, help_text="The table that the regain stands in.")
    key = told_once()

    history = HistoricalRecords()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    @property
    def called(self) -> str:
        """Its name in the language of the page, where it is one of the tables'; else as the mill wrote it."""
        return gettext(self.name)


class Yarn(models.Model):
    """A yarn in one colour, as it is bought."""

    WOOLLEN, WORSTED, COTTON, LINEN, SILK, OTHER = "woollen", "worsted", "cotton", "linen", "silk", "other"
    SPINNINGS = [
        (WOOLLEN, N_("woollen")),
        (WORSTED, N_("worsted")),
        (COTTON, N_("cotton")),
        (LINEN, N_("linen")),
        (SILK, N_("silk")),
        (OTHER, N_("other")),
    ]

    code = models.CharField(max_length=30, unique=True)
    name = models.CharField(max_length=80, help_text="The colour's name.")
    colour = models.CharField(max_length=7, validators=[COLOUR], default="#8a8378")
    count_as_bought = models.CharField(max_length=40, help_text="As the invoice has it: 16 ysw, 2/48 nw, Nm 2/28.")
    count_tex = figure(10, 4, at_least=1, help_text="Resultant tex, read from the count as bought.")
    spinning = models.CharField(max_length=10, choices=SPINNINGS, default=WOOLLEN)
    fibres = models.ManyToManyField(Fibre, through="YarnFibre", related_name="yarns")
    regain_pct = figure(5, 2, help_text="Agreed with the supplier, on the oven-dry mass.")
    regain_authority = models.CharField(max_length=80)
    supplier = models.ForeignKey(Supplier, null=True, blank=True, on_delete=models.PROTECT, related_name="yarns")
    min_order_g = models.PositiveIntegerField(default=0)
    is_in_use = models.BooleanField(default=True)
    key = told_once()
    history = HistoricalRecords()

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


class YarnFibre(models.Model):
    yarn = models.ForeignKey(Yarn, on_delete=models.CASCADE, related_name="shares")
    fibre = models.ForeignKey(Fibre, on_delete=models.PROTECT, related_name="shares")
    share_pct = figure(5, 2, at_most=100, help_text="Of the mass.")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["yarn", "fibre"], name="a_fibre_stands_once_in_a_yarn")]

    def __str__(self) -> str:
        return f"{self.share_pct} % {self.fibre}"


class DeliveryQuerySet(models.QuerySet["Delivery"]):
    def with_received(self) -> Annotated:
        """Adds received_g, what has come of it, and outstanding_g, what is still to come; 0 once it is closed."""
        # A lot's first line is what was received; one that was taken back has not come.
        came = (
            Movement.objects.filter(lot__delivery=OuterRef("pk"), seq=1, reversed_by__isnull=True)
            .order_by()
            .values("lot__delivery")
            .annotate(grams=Sum("change_g"))
        )
        return self.annotate(received_g=Coalesce(Subquery(came.values("grams")), Value(0))).annotate(
            outstanding_g=Case(
                When(is_closed=False, ordered_g__gt=F("received_g"), then=F("ordered_g") - F("received_g")),
                default=Value(0),
                output_field=models.IntegerField(),
            )
        )

    def open(self) -> Annotated:
        return self.with_received().filter(outstanding_g__gt=0)


class Delivery(models.Model):
    """Yarn that a supplier has promised. It may come in parts: each part is a lot."""

    number = models.CharField(max_length=30, unique=True)
    yarn = models.ForeignKey(Yarn, on_delete=models.PROTECT, related_name="deliveries")
    supplier = models.ForeignKey(Supplier, null=True, blank=True, on_delete=models.PROTECT, related_name="deliveries")
    ordered_g = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    dye_lot = models.CharField(max_length=40, blank=True, help_text="When the supplier has named it.")
    ordered_on = models.DateField(null=True, blank=True)
    expected_on = models.DateField(db_index=True)
    is_closed = models.BooleanField(default=False, help_text="Nothing more of it is to come.")
    key = told_once()
    objects = DeliveryQuerySet.as_manager()
    history = HistoricalRecords()

    class Meta:
        ordering = ["expected_on", "number"]
        verbose_name_plural = "deliveries"

    def __str__(self) -> str:
        return self.number


class YarnLotQuerySet(models.QuerySet["YarnLot"]):
    def with_balance(self) -> Annotated:
        """Adds on_hand_g, held_g and available_g, read from each lot's last movement."""
        last = Movement.objects.filter(lot=OuterRef("pk")).order_by("-seq")
        return self.annotate(
            on_hand_g=Coalesce(Subquery(last.values("on_hand_after_g")[:1]), Value(0)),
            held_g=Coalesce(Subquery(last.values("held_after_g")[:1]), Value(0)),
        ).annotate(available_g=F("on_hand_g") - F("held_g"))

    def with_receipt(self) -> Annotated:
        """Adds came_g, what it was received with at the yarn's own regain."""
        first = Movement.objects.filter(lot=OuterRef("pk"), seq=1)
        return self.annotate(came_g=Subquery(first.values("change_g")[:1]))

    def that_came(self) -> "YarnLotQuerySet":
        """Lots whose receipt stands; one that was taken back has not come."""
        taken_back = Movement.objects.filter(lot=OuterRef("pk"), seq=1, reversed_by__isnull=False)
        return self.filter(~models.Exists(taken_back))

    def of_yarn(self, yarn: Yarn) -> "YarnLotQuerySet":
        return self.filter(yarn=yarn)

    def free_to_use(self) -> "YarnLotQuerySet":
        """Lots that may be drawn: shade approved and not in quarantine."""
        return self.filter(is_quarantined=False, is_shade_approved=True)


class YarnLot(models.Model):
    """Yarn of one dye lot, received together. How much is left stands in its movements."""

    label = models.CharField(max_length=30, unique=True, help_text="The mill's own number on the bag.")
    yarn = models.ForeignKey(Yarn, on_delete=models.PROTECT, related_name="lots")
    dye_lot = models.CharField(max_length=40)
    place = models.ForeignKey(Place, null=True, blank=True, on_delete=models.PROTECT, related_name="lots")
    received_on = models.DateField()
    delivery = models.ForeignKey(Delivery, null=True, blank=True, on_delete=models.PROTECT, related_name="lots")
    packages = models.PositiveIntegerField(default=0, help_text="Cones when it came.")
    gross_g = models.PositiveIntegerField(null=True, blank=True, help_text="With cones and bags, when it came.")
    weighed_g = models.PositiveIntegerField(
        null=True, blank=True, help_text="Without them, as the scales had it: what was received is that at the regain."
    )
    measured_tex = figure(10, 4, null=True, blank=True)
    measured_regain_pct = figure(5, 2, null=True, blank=True)
    is_shade_approved = models.BooleanField(default=True)
    is_quarantined = models.BooleanField(default=False)
    quarantine_reason = models.CharField(max_length=200, blank=True)
    note = models.CharField(max_length=200, blank=True)

    objects = YarnLotQuerySet.as_manager()

    history = HistoricalRecords()

    class Meta:
        ordering = ["yarn__code", "received_on", "label"]
        indexes = [models.Index(fields=["yarn", "received_on"])]

    def __str__(self) -> str:
        return self.label

    @property
    def why_quarantined(self) -> str:
        """Why, in the language of the page; it is kept in English."""
        return retold(self.quarantine_reason, treatment.WHY_BARRED.values())

    @property
    def barred_for(self) -> Retold:
        """Why, as a refusal names it in the language of whoever reads that."""
        return Retold(self.quarantine_reason, treatment.WHY_BARRED.values())

    def as_lot(self) -> draw.Lot:
        """As the draw sees it. Of a row from `with_balance()`."""
        return draw.Lot(
            label=self.label,
            yarn=self.yarn_id,
            dye_lot=self.dye_lot,
            free_g=self.available_g,  # type: ignore[attr-defined]
            received_on=self.received_on,
            is_quarantined=self.is_quarantined,
            is_shade_approved=self.is_shade_approved,
            pk=self.pk,
        )


# What yarn is held for, drawn for or wanted for, as the planning side writes it.
FOR_WHAT = (
    N_("Warp %(number)s, warp yarn"),
    N_("Warp %(number)s, weft yarn"),
    N_("Warp %(number)s, not on a loom yet"),
    N_("Warp %(number)s"),
)


class ReservationQuerySet(models.QuerySet["Reservation"]):
    def with_remaining(self) -> Annotated:
        """Adds remaining_g, what of the hold has neither been drawn nor released."""
        return self.annotate(remaining_g=Coalesce(Sum("movements__held_change_g"), Value(0)))

    def open(self) -> Annotated:
        return self.with_remaining().filter(remaining_g__gt=0)

    def with_out(self) -> Annotated:
        """Adds out_g, what was drawn and has not come back."""
        return self.annotate(out_g=-Coalesce(Sum("movements__change_g"), Value(0)))

    def drawn(self) -> Annotated:
        return self.with_out().filter(out_g__gt=0)


class Reservation(models.Model):
    """So much of a lot is held for something. The grams themselves are movements."""

    lot = models.ForeignKey(YarnLot, on_delete=models.PROTECT, related_name="reservations")
    for_what = models.CharField(max_length=120, help_text="Warp 118, warp yarn.")
    made_at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")

    objects = ReservationQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.lot} for {self.for_what}"

    @property
    def what(self) -> Retold:
        """What it is held for, as a refusal names it in the language of whoever reads that."""
        return Retold(self.for_what, FOR_WHAT)


def draws(of: str = "") -> Q:
    """Lines that draw, and those that take a draw back.

    of    the way to the lines from what is asked: reservation__movements__
    """
    return Q(**{f"{of}kind": ledger.DRAW}) | Q(**{f"{of}reverses__kind": ledger.DRAW})


# Why a line was written, as the services keep it.
WHY = (
    N_("Weighed %(grams)s at %(measured)s %% regain, reckoned at %(agreed)s %%. Stock-take."),
    N_("Weighed %(grams)s at %(measured)s %% regain, reckoned at %(agreed)s %%. %(remark)s"),
    N_("Weighed %(grams)s at %(measured)s %% regain, reckoned at %(agreed)s %%."),
    N_("Weighed %(grams)s. Stock-take."),
    N_("Weighed %(grams)s. %(remark)s"),
    N_("Weighed %(grams)s."),
    N_("Shade approved"),
    N_("Shade not approved: %(why)s"),
    N_("Into quarantine: %(treated)s"),
    N_("Into quarantine: %(why)s"),
    N_("Treatment %(number)s began: %(way)s, core to %(core)s °C for %(held)s h"),
    N_("Treatment %(number)s began: %(way)s"),
    N_("Treatment %(number)s over, %(way)s: %(verdict)s"),
    N_("Out of quarantine after treatment %(number)s, %(way)s, %(verdict)s. %(why)s"),
    N_("Out of quarantine, no treatment named: %(why)s"),
    N_("Let go by the planner of Warp %(number)s."),
    N_("Nothing is left on Warp %(number)s."),
    N_("Warp %(number)s is taken apart."),
    N_("Warp %(number)s is woven out."),
)
WITHIN_WHY = {
    "way": tuple(way.name for way in treatment.WAYS.values()),
    "verdict": treatment.VERDICTS,
    "treated": tuple(treatment.WHY_BARRED.values()),
}


class Movement(models.Model):
    """One line of the ledger. Added, never changed or taken away; triggers in the database see to it.

    Each line carries what the lot had after it, so that the last line of a lot is its balance
    whatever the length of its history; a trigger refuses a line that doesn't follow from the one before.
    """

    RECEIVE, HOLD, RELEASE, DRAW, RETURN = ledger.RECEIVE, ledger.HOLD, ledger.RELEASE, ledger.DRAW, ledger.RETURN
    WASTE, MOVE, CORRECT, COUNT = ledger.WASTE, ledger.MOVE, ledger.CORRECT, ledger.COUNT
    REVERSE, NOTE = ledger.REVERSE, ledger.NOTE
    KINDS = [
        (RECEIVE, N_("received")),
        (HOLD, N_("held")),
        (RELEASE, N_("let go")),
        (DRAW, N_("drawn")),
        (RETURN, N_("came back")),
        (WASTE, N_("waste")),
        (MOVE, N_("moved")),
        (CORRECT, N_("corrected")),
        (COUNT, N_("counted")),
        (REVERSE, N_("taken back")),
        (NOTE, N_("noted")),
    ]

    lot = models.ForeignKey(YarnLot, on_delete=models.PROTECT, related_name="movements")
    seq = models.PositiveIntegerField()
    kind = models.CharField(max_length=10, choices=KINDS)
    change_g = models.IntegerField(help_text="What came on hand; less than 0 when it left.")
    held_change_g = models.IntegerField(default=0)
    on_hand_after_g = models.PositiveIntegerField()
    held_after_g = models.PositiveIntegerField()
    reservation = models.ForeignKey(
        Reservation, null=True, blank=True, on_delete=models.PROTECT, related_name="movements"
    )
    key = models.CharField(max_length=64, unique=True, help_text="The same key counts once.")
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    document = models.CharField(max_length=60, blank=True)
    reason = models.CharField(max_length=200, blank=True)
    packages_change = models.IntegerField(default=0)
    place_from = models.ForeignKey(Place, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    place_to = models.ForeignKey(Place, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    reverses = models.OneToOneField("self", null=True, blank=True, on_delete=models.PROTECT, related_name="reversed_by")

    class Meta:
        ordering = ["lot_id", "seq"]
        constraints = [
            models.UniqueConstraint(fields=["lot", "seq"], name="a_lots_lines_are_numbered"),
            models.CheckConstraint(condition=Q(seq__gte=1), name="lines_are_numbered_from_one"),
            models.CheckConstraint(condition=Q(held_after_g__gte=0), name="nothing_is_held_below_zero"),
            models.CheckConstraint(condition=Q(on_hand_after_g__gte=F("held_after_g")), name="what_is_held_is_on_hand"),
        ]
        indexes = [models.Index(fields=["at"])]

    def __str__(self) -> str:
        return f"{self.lot} {self.seq}: {self.kind} {self.change_g} g"

    @property
    def why(self) -> str:
        """Why it was written, in the language of the page; it is kept in English."""
        return retold(self.reason, WHY, WITHIN_WHY)


class YarnDemand(models.Model):
    """Derived: grams of a yarn that planned work will draw on a day. Written by the planning side."""

    WARP, WEFT = "warp", "weft"
    USES = [(WARP, N_("warp")), (WEFT, N_("weft"))]

    yarn = models.ForeignKey(Yarn, on_delete=models.CASCADE, related_name="demands")
    use = models.CharField(max_length=4, choices=USES)
    on = models.DateField()
    grams = models.PositiveIntegerField()
    source = models.CharField(max_length=40, db_index=True, help_text="warp:118")
    label = models.CharField(max_length=120, help_text="What a person calls it.")
    worked_from = models.CharField(max_length=80, help_text="Fingerprint of what it was worked from.")

    class Meta:
        ordering = ["on", "pk"]
        indexes = [models.Index(fields=["yarn", "on"])]

    def __str__(self) -> str:
        return f"{self.yarn} {self.on}: {self.grams} g"


class YarnOutlook(models.Model):
    """Derived: what a yarn will have, day by day, and when it runs short. `drawdown.py` has the sum."""

    yarn = models.OneToOneField(Yarn, on_delete=models.CASCADE, related_name="outlook")
    on_hand_g = models.PositiveIntegerField()
    held_g = models.PositiveIntegerField()
    incoming_g = models.PositiveIntegerField()
    demand_g = models.PositiveIntegerField()
    short_on = models.DateField(null=True, blank=True, db_index=True)
    short_g = models.PositiveIntegerField(default=0)
    short_for = models.CharField(max_length=120, blank=True)
    order_by = models.DateField(null=True, blank=True)
    order_g = models.PositiveIntegerField(default=0)
    days = models.JSONField(default=list)
    worked_from = models.CharField(max_length=80)
    worked_at = models.DateTimeField(auto_now=True)

    def __str__(self) -> str:
        return f"Outlook of {self.yarn}"


class OutlookMark(models.Model):
    """A yarn whose outlook must be worked again. Added by whatever changes it, taken away by the working.

    Rows are only ever inserted by those who write stock, so that two of them never wait for each other here.
    """

    yarn = models.ForeignKey(Yarn, on_delete=models.CASCADE, related_name="outlook_marks")

    def __str__(self) -> str:
        return f"Outlook of {self.yarn} is to be worked"


class Trap(models.Model):
    """A moth trap: it shows what flies there, and cures nothing."""

    WEBBING, CASE, BEETLE, ANY = "webbing", "case", "beetle", "any"
    CATCHES = [
        (WEBBING, N_("webbing clothes moth")),
        (CASE, N_("case-bearing clothes moth")),
        (BEETLE, N_("carpet beetle")),
        (ANY, N_("whatever sticks to it")),
    ]

    code = models.CharField(max_length=20, unique=True, help_text="What is written on it.")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="traps")
    catches = models.CharField(max_length=10, choices=CATCHES, default=WEBBING)
    lure_renewed_on = models.DateField(help_text="When its lure, or the whole trap, was renewed last.")
    is_hung = models.BooleanField(default=True)
    key = told_once()

    history = HistoricalRecords()

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.code


class Inspection(models.Model):
    """Somebody looked over a place for moth and beetle. `store_care.SPECIES` says what is counted."""

    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="inspections")
    on = models.DateField()
    webbing_moths = models.PositiveIntegerField(default=0)
    case_moths = models.PositiveIntegerField(default=0)
    moths = models.PositiveIntegerField(default=0, help_text="Not told apart.")
    larvae = models.PositiveIntegerField(default=0)
    beetles = models.PositiveIntegerField(default=0)
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    key = models.CharField(max_length=64, unique=True, help_text="The same key counts once.")

    class Meta:
        ordering = ["-on", "-pk"]

    def __str__(self) -> str:
        return f"{self.place} {self.on}"


class TreatmentQuerySet(models.QuerySet["Treatment"]):
    def with_barred(self) -> Annotated:
        """Adds n_lots, and n_barred: those in quarantine still that were not treated again since."""
        since = Treatment.lots.through.objects.filter(yarnlot=OuterRef("lots"), treatment__gt=OuterRef("pk"))
        is_barred = Q(~models.Exists(since), lots__is_quarantined=True)
        return self.annotate(n_lots=models.Count("lots"), n_barred=models.Count("lots", filter=is_barred))

    def open(self) -> Annotated:
        """Under way, or over with something of it in quarantine still."""
        return self.with_barred().filter(Q(ended_on__isnull=True) | Q(n_barred__gt=0))


class Treatment(models.Model):
    """Lots, or all that lay in a place, frozen or heated. `treatment.py` has the figures that it is held against."""

    WAYS = [(way.key, way.name) for way in treatment.WAYS.values()]

    way = models.CharField(max_length=10, choices=WAYS)
    lots = models.ManyToManyField(YarnLot, related_name="treatments")
    place = models.ForeignKey(
        Place, null=True, blank=True, on_delete=models.PROTECT, related_name="treatments", help_text="All of it."
    )
    target_core_c = models.DecimalField(max_digits=5, decimal_places=1, null=True, blank=True)
    target_h = figure(6, 1, null=True, blank=True)
    began_on = models.DateField()
    ended_on = models.DateField(null=True, blank=True)
    core_c = models.DecimalField(
        max_digits=5, decimal_places=1, null=True, blank=True, help_text="The worst that the core had all the while."
    )
    held_h = figure(6, 1, null=True, blank=True, help_text="Hours that the core stayed so.")
    measured_how = models.CharField(max_length=120, blank=True)
    done_by = models.CharField(max_length=120, blank=True, help_text="A licensed firm, or who of the mill.")
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    key = models.CharField(max_length=64, unique=True, help_text="The same key counts once.")

    objects = TreatmentQuerySet.as_manager()

    history = HistoricalRecords()

    class Meta:
        ordering = ["-began_on", "-pk"]

    def __str__(self) -> str:
        return f"Treatment {self.pk}"

    @property
    def called(self) -> str:
        return gettext("Treatment %(number)s") % {"number": self.pk}

    @property
    def verdict_said(self) -> str:
        """The verdict in the language of the page, "" while it is under way."""
        return retold(self.verdict.said, treatment.VERDICTS) if self.verdict else ""

    def barred_lots(self) -> models.QuerySet[YarnLot]:
        """Its lots in quarantine still; one that was treated again since is the later treatment's."""
        since = Treatment.lots.through.objects.filter(yarnlot=OuterRef("pk"), treatment__gt=self.pk)
        return self.lots.filter(~models.Exists(since), is_quarantined=True)

    @property
    def published(self) -> treatment.Way:
        return treatment.WAYS[self.way]

    @property
    def verdict(self) -> treatment.Verdict | None:
        """None while it is under way."""
        return treatment.judge(self.way, core_c=self.core_c, held_h=self.held_h) if self.ended_on else None


class Claim(models.Model):
    """Short weight, claimed of a supplier: what a delivery was invoiced at against what came. Its sums are frozen."""

    WRITTEN, SENT, ALLOWED, REFUSED, DROPPED = "written", "sent", "allowed", "refused", "dropped"
    STATES = [
        (WRITTEN, N_("not sent yet")),
        (SENT, N_("sent, not answered yet")),
        (ALLOWED, N_("allowed")),
        (REFUSED, N_("refused by the supplier")),
        (DROPPED, N_("dropped")),
    ]

    number = models.PositiveIntegerField(unique=True)
    delivery = models.ForeignKey(Delivery, on_delete=models.PROTECT, related_name="claims")
    invoice = models.CharField(max_length=60, blank=True, help_text="Its number.")
    invoiced_g = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    agreed_regain_pct = figure(5, 2)
    agreed_by = models.CharField(max_length=80, help_text="The table that the regain stands in.")
    weighed_g = models.PositiveIntegerField()
    due_g = models.PositiveIntegerField(help_text="What came, at the agreed regain.")
    short_g = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    steps = models.JSONField(default=list)
    note = models.CharField(max_length=200, blank=True)
    made_on = models.DateField()
    state = models.CharField(max_length=10, choices=STATES, default=WRITTEN)
    sent_on = models.DateField(null=True, blank=True)
    answered_on = models.DateField(null=True, blank=True)
    allowed_g = models.PositiveIntegerField(null=True, blank=True)
    answer = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    key = models.CharField(max_length=64, unique=True, help_text="The same key counts once.")

    history = HistoricalRecords()

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.CheckConstraint(
                condition=Q(short_g=F("invoiced_g") - F("due_g")), name="what_is_claimed_is_invoiced_less_due"
            )
        ]

    def __str__(self) -> str:
        return f"Claim {self.number}"

    @property
    def called(self) -> str:
        """Its name in the language of the page."""
        return gettext("Claim %(number)s") % {"number": self.number}

    @property
    def said(self) -> str:
        """Its state in plain words, in the language of the page."""
        if self.state == self.ALLOWED and self.allowed_g is not None:
            grams = {"allowed": ledger.written(self.allowed_g), "short": ledger.written(self.short_g)}
            if self.allowed_g >= self.short_g:
                return gettext("allowed whole, %(allowed)s of %(short)s") % grams
            return gettext("allowed in part, %(allowed)s of %(short)s") % grams
        return gettext(self.get_state_display())


class ClaimLot(models.Model):
    """A lot as it was weighed for a claim."""

    claim = models.ForeignKey(Claim, on_delete=models.CASCADE, related_name="lots")
    lot = models.ForeignKey(YarnLot, on_delete=models.PROTECT, related_name="claims")
    weighed_g = models.PositiveIntegerField()
    measured_regain_pct = figure(5, 2)
    due_g = models.PositiveIntegerField()

    class Meta:
        ordering = ["lot__label"]
        constraints = [models.UniqueConstraint(fields=["claim", "lot"], name="a_lot_stands_once_in_a_claim")]

    def __str__(self) -> str:
        return f"{self.claim}, lot {self.lot}"
