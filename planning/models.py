from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from decimal import Decimal

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext, gettext_lazy
from simple_history.models import HistoricalRecords

from inventory.models import Delivery, Reservation, Yarn, YarnLot
from mill.models import Mill, figure
from mill.refusal import N_, Refusal, in_words
from mill.retold import Told, retold, told_again
from mill.signs import written_now
from planning import cloth as cloth_room
from planning import cost, weave
from planning.gaiting import SetUpRates
from planning.ticket import BeamFacts, LoomFacts, MillFacts


def mill_facts(mill: Mill) -> MillFacts:
    """What the rooms need to know of the mill."""
    return MillFacts(
        thrums_m=mill.thrums_m,
        header_m=mill.header_m,
        ends_per_section=mill.ends_per_section,
        creel_load_min=Decimal(mill.creel_load_min),
        section_change_min=Decimal(mill.section_change_min),
        drum_m_per_min=mill.drum_m_per_min,
        beaming_m_per_min=mill.beaming_m_per_min,
        doff_min=Decimal(mill.doff_min),
        cone_g=mill.cone_g,
        beam_density_kg_per_m3=mill.beam_density_kg_per_m3,
    )


def set_up_rates(mill: Mill) -> SetUpRates:
    return SetUpRates(**{field.name: getattr(mill, field.name) for field in fields(SetUpRates)})


class Customer(models.Model):
    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=120)
    notes = models.TextField(blank=True)
    points_limit_per_100_yd2 = figure(
        5, 1, null=True, blank=True, help_text="Four-point grading, as agreed with them; none means the mill's own."
    )
    history = HistoricalRecords()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Reed(models.Model):
    code = models.CharField(max_length=20, unique=True)
    as_bought = models.CharField(
        max_length=40, blank=True, help_text=N_("As stamped on it: Stockport 32, 63 per 10 cm.")
    )
    dents_per_10cm = figure(7, 3, at_least=1)
    width_cm = figure(6, 1, at_least=1)
    quantity = models.PositiveIntegerField(default=1)

    history = HistoricalRecords()

    class Meta:
        ordering = ["dents_per_10cm", "code"]

    def __str__(self) -> str:
        return f"{self.code} ({self.dents_per_10cm.normalize():f} per 10 cm)"

    @property
    def called(self) -> str:
        dents = f"{self.dents_per_10cm.normalize():f}".replace(".", written_now().decimal)
        return gettext("%(reed)s (%(dents)s per 10 cm)") % {"reed": self.code, "dents": dents}


class Beam(models.Model):
    code = models.CharField(max_length=20, unique=True)
    width_cm = figure(6, 1, at_least=1, help_text=N_("Between the flanges."))
    barrel_mm = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    flange_mm = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    tare_kg = figure(6, 1, help_text=N_("Empty beam with its gudgeons."))
    is_in_use = models.BooleanField(default=True)

    history = HistoricalRecords()

    class Meta:
        ordering = ["width_cm", "code"]
        constraints = [
            models.CheckConstraint(
                condition=Q(flange_mm__gt=models.F("barrel_mm")), name="a_flange_stands_over_its_barrel"
            )
        ]

    def __str__(self) -> str:
        return self.code

    def clean(self) -> None:
        if self.barrel_mm and self.flange_mm and self.flange_mm <= self.barrel_mm:
            said = gettext("A flange of %(flange)s mm can't stand over a barrel of %(barrel)s mm.")
            raise ValidationError({"flange_mm": said % {"flange": self.flange_mm, "barrel": self.barrel_mm}})

    def as_facts(self) -> BeamFacts:
        return BeamFacts(self.code, self.width_cm, self.barrel_mm, self.flange_mm, self.tare_kg)


class ShiftPattern(models.Model):
    name = models.CharField(max_length=40, unique=True)
    hours = models.CharField(max_length=200, help_text="Mon-Fri 06:00-22:00; Sat 06:00-12:00")

    history = HistoricalRecords()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Loom(models.Model):
    code = models.CharField(max_length=20, unique=True)
    kind = models.CharField(max_length=60, help_text="Dobby rapier, power shuttle, pedal …")
    reed_space_cm = figure(6, 1, at_least=1)
    shafts = models.PositiveIntegerField(default=0, help_text="0 for a jacquard.")
    is_jacquard = models.BooleanField(default=False)
    weft_colours = models.PositiveIntegerField(default=1, validators=[MinValueValidator(1)])
    max_flange_mm = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    ppm = models.PositiveIntegerField(validators=[MinValueValidator(1)], help_text="Picks a minute, running.")
    efficiency_pct = figure(5, 2, at_least=1, at_most=100, help_text="Running efficiency: set-ups and waits apart.")
    tail_cm = figure(5, 1, default=0, help_text="Weft cut off at each pick on a shuttleless loom.")
    shift_pattern = models.ForeignKey(ShiftPattern, on_delete=models.PROTECT, related_name="looms")
    is_held = models.BooleanField(default=False, help_text="Nothing new is planned on it.")
    held_reason = models.CharField(max_length=120, blank=True)
    # What is drawn in now, whatever warp it came from: decides whether the next can be tied in.
    gaited_family = models.CharField(max_length=64, blank=True, editable=False)
    gaited_reed = models.CharField(max_length=40, blank=True, editable=False)
    history = HistoricalRecords()

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.code

    def clean(self) -> None:
        if not self.is_jacquard and self.shafts == 0:
            said = gettext("A loom without a jacquard lifts by shafts: write how many it has.")
            raise ValidationError({"shafts": said})

    def as_facts(self) -> LoomFacts:
        return LoomFacts(
            code=self.code,
            ppm=self.ppm,
            efficiency_pct=self.efficiency_pct,
            reed_space_cm=self.reed_space_cm,
            shafts=self.shafts,
            jacquard=self.is_jacquard,
            weft_colours=self.weft_colours,
            max_flange_mm=self.max_flange_mm,
            tail_cm=self.tail_cm,
        )


class Closure(models.Model):
    """The mill, or one loom, stands still from one moment to another."""

    name = models.CharField(max_length=80)
    starts_at = models.DateTimeField()
    stops_at = models.DateTimeField()
    loom = models.ForeignKey(Loom, null=True, blank=True, on_delete=models.CASCADE, related_name="closures")

    history = HistoricalRecords()

    class Meta:
        ordering = ["starts_at"]
        constraints = [
            models.CheckConstraint(condition=Q(stops_at__gt=models.F("starts_at")), name="a_closure_stops_later")
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        for name in ("starts_at", "stops_at"):
            moment = getattr(self, name)
            if moment and not 2000 <= moment.year <= 2199:
                said = gettext("The year %(year)s can't be meant. Write one from 2000 to 2199.")
                raise ValidationError({name: said % {"year": moment.year}})
        if self.starts_at and self.stops_at and self.stops_at <= self.starts_at:
            begins = timezone.localtime(self.starts_at)
            said = gettext("%(day)s %(month)s %(clock)s") % {
                "day": f"{begins:%d}",
                "month": written_now().months[begins.month - 1],
                "clock": f"{begins:%H:%M}",
            }
            form = gettext("It begins on %(moment)s; let it end after that.")
            raise ValidationError({"stops_at": form % {"moment": said}})


class Cloth(models.Model):
    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=80)
    is_in_use = models.BooleanField(default=True)

    history = HistoricalRecords()

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"

    @property
    def current_spec(self) -> ClothSpec | None:
        """The latest revision; read through all(), so that a prefetch of `specs` serves many."""
        return next(iter(sorted(self.specs.all(), key=lambda spec: -spec.revision)), None)


class ClothSpec(models.Model):
    """A numbered revision of a cloth. One that is in use is never edited: a new one is made.

    Field names are those of `planning.cloth.Cloth`; percentages stand on the bases said there.
    """

    cloth = models.ForeignKey(Cloth, on_delete=models.PROTECT, related_name="specs")
    revision = models.PositiveIntegerField()
    note = models.CharField(max_length=200, blank=True, help_text="What changed, and why.")
    made_at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    finished_width_cm = figure(6, 1, at_least=1)
    reed_dents_per_10cm = figure(7, 3, at_least=1)
    ends_per_dent = models.PositiveIntegerField(default=2, validators=[MinValueValidator(1)])
    selvedge_ends = models.PositiveIntegerField(default=0, help_text="Both sides together.")
    selvedge_letter = models.CharField(max_length=1, blank=True)
    whole_repeats = models.BooleanField(default=False, help_text="The colour order ends with a whole repeat.")
    loom_picks_per_cm = figure(7, 3, at_least=0, help_text="As the tuner sets it in the loom.")
    warp_crimp_pct = figure(5, 2, help_text="Of cloth length.")
    weaving_contraction_pct = figure(5, 2, at_most=99, help_text="Of reed width.")
    warp_waste_pct = figure(5, 2, at_most=99, help_text="Of yarn issued.")
    weft_waste_pct = figure(5, 2, at_most=99, help_text="Of yarn issued.")
    size_add_on_pct = figure(5, 2, default=0, help_text="Of unsized yarn.")
    warp_order = models.TextField(help_text="A24 B2 A4")
    weft_order = models.TextField(help_text="A24 B2 A4")
    threading = models.TextField(help_text="1 2 3 4")
    lifting = models.TextField(help_text="1+2 2+3 3+4 1+4")
    finishing_days = models.PositiveIntegerField(default=10, help_text="From the loom to ready, working days.")

    class Meta:
        ordering = ["cloth__code", "-revision"]
        constraints = [models.UniqueConstraint(fields=["cloth", "revision"], name="a_revision_is_numbered_once")]

    def __str__(self) -> str:
        return f"{self.cloth.code} rev {self.revision}"

    @property
    def called(self) -> str:
        """Its name in the language of the page."""
        return gettext("%(cloth)s rev %(n)s") % {"cloth": self.cloth.code, "n": self.revision}

    def as_cloth(self, colourway: Colourway) -> cloth_room.Cloth:
        """The specification as numbers, in one colourway. Raises Refusal, with the field, where it can't be woven.

        Reads route_steps and colourway_yarns (with their yarns) through all(), so that a prefetch serves many.
        """
        return self.made_of(
            route=tuple(step.as_step() for step in self.route_steps.all()),
            yarns={
                entry.letter: entry.yarn for entry in self.colourway_yarns.all() if entry.colourway_id == colourway.pk
            },
        )

    def made_of(self, *, route: tuple[cloth_room.RouteStep, ...], yarns: Mapping[str, Yarn]) -> cloth_room.Cloth:
        """The same, from a route and yarns that need not be written down yet."""
        return cloth_room.Cloth(
            name=f"{self.cloth.code} {self.cloth.name}",
            revision=self.revision,
            finished_width_cm=self.finished_width_cm,
            reed_dents_per_10cm=self.reed_dents_per_10cm,
            ends_per_dent=self.ends_per_dent,
            selvedge_ends=self.selvedge_ends,
            whole_repeats=self.whole_repeats,
            loom_picks_per_cm=self.loom_picks_per_cm,
            warp_crimp_pct=self.warp_crimp_pct,
            weaving_contraction_pct=self.weaving_contraction_pct,
            warp_waste_pct=self.warp_waste_pct,
            weft_waste_pct=self.weft_waste_pct,
            size_add_on_pct=self.size_add_on_pct,
            route=route,
            warp_order=cloth_room.read_order(self.warp_order, field="warp_order"),
            weft_order=cloth_room.read_order(self.weft_order, field="weft_order"),
            yarns={
                letter: cloth_room.YarnUse(yarn.code, yarn.name, yarn.colour, yarn.count_tex, yarn.spinning)
                for letter, yarn in yarns.items()
            },
            threading=weave.read_threading(self.threading),
            lifting=weave.read_lifting(self.lifting),
            selvedge_letter=self.selvedge_letter,
        )


class RouteStep(models.Model):
    """A step of a revision's finishing route. Shrinkage on the size before the step, loss on the mass into it."""

    spec = models.ForeignKey(ClothSpec, on_delete=models.CASCADE, related_name="route_steps")
    position = models.PositiveIntegerField()
    name = models.CharField(max_length=60)
    width_shrink_pct = figure(5, 2, default=0, at_least=-50, at_most=99, help_text="Less than 0 where it stretches.")
    length_shrink_pct = figure(5, 2, default=0, at_least=-50, at_most=99, help_text="Less than 0 where it stretches.")
    mass_loss_pct = figure(5, 2, default=0, at_most=99)
    note = models.CharField(max_length=120, blank=True)

    history = HistoricalRecords()
    told_with = {"planning.cloth": "spec__cloth"}

    class Meta:
        ordering = ["position"]
        constraints = [models.UniqueConstraint(fields=["spec", "position"], name="a_step_has_its_place")]

    def __str__(self) -> str:
        return self.name

    def as_step(self) -> cloth_room.RouteStep:
        return cloth_room.RouteStep(
            self.name, self.width_shrink_pct, self.length_shrink_pct, self.mass_loss_pct, self.note
        )


class Colourway(models.Model):
    cloth = models.ForeignKey(Cloth, on_delete=models.PROTECT, related_name="colourways")
    name = models.CharField(max_length=60)

    history = HistoricalRecords()
    told_with = {"planning.cloth": "cloth"}

    class Meta:
        ordering = ["cloth__code", "name"]
        constraints = [models.UniqueConstraint(fields=["cloth", "name"], name="a_colourway_is_named_once")]

    def __str__(self) -> str:
        return self.name


class ColourwayYarn(models.Model):
    """Which yarn stands at a letter of a revision's orders, in one colourway."""

    spec = models.ForeignKey(ClothSpec, on_delete=models.CASCADE, related_name="colourway_yarns")
    colourway = models.ForeignKey(Colourway, on_delete=models.PROTECT, related_name="yarns")
    letter = models.CharField(max_length=1)
    yarn = models.ForeignKey(Yarn, on_delete=models.PROTECT, related_name="colourway_yarns")

    history = HistoricalRecords()
    told_with = {"planning.cloth": "spec__cloth", "planning.colourway": "colourway"}

    class Meta:
        ordering = ["colourway__name", "letter"]
        constraints = [
            models.UniqueConstraint(fields=["spec", "colourway", "letter"], name="a_letter_stands_for_one_yarn")
        ]

    def __str__(self) -> str:
        return f"{self.letter} {self.yarn}"


class Order(models.Model):
    number = models.CharField(max_length=30, unique=True)
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="orders")
    reference = models.CharField(max_length=60, blank=True, help_text="The customer's own number.")
    placed_on = models.DateField()
    note = models.TextField(blank=True)
    history = HistoricalRecords()

    class Meta:
        ordering = ["-placed_on", "number"]

    def __str__(self) -> str:
        return self.number


class OrderLineQuerySet(models.QuerySet["OrderLine"]):
    def open(self) -> OrderLineQuerySet:
        return self.exclude(state__in=[OrderLine.SENT, OrderLine.CALLED_OFF])

    def not_on_a_warp(self) -> OrderLineQuerySet:
        return self.filter(state=OrderLine.ENTERED)


class OrderLine(models.Model):
    ENTERED, ON_A_WARP, IN_LOOM, GREY = N_("entered"), N_("on a warp"), N_("in loom"), N_("grey")
    FINISHING, READY, SENT, CALLED_OFF = N_("finishing"), N_("ready"), N_("sent"), N_("called off")
    STATES = [(s, s) for s in (ENTERED, ON_A_WARP, IN_LOOM, GREY, FINISHING, READY, SENT, CALLED_OFF)]

    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="lines")
    position = models.PositiveIntegerField()
    cloth = models.ForeignKey(Cloth, on_delete=models.PROTECT, related_name="lines")
    colourway = models.ForeignKey(Colourway, on_delete=models.PROTECT, related_name="lines")
    pieces = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    length_m = figure(7, 2, at_least=0, help_text="Finished, each piece.")
    due_on = models.DateField(db_index=True)
    tolerance_pct = figure(4, 1, default=0, at_most=50)
    weight = models.PositiveIntegerField(default=1, help_text="How much a day late matters: 1 to 9.")
    state = models.CharField(max_length=12, choices=STATES, default=ENTERED, db_index=True)
    note = models.CharField(max_length=200, blank=True)
    objects = OrderLineQuerySet.as_manager()
    history = HistoricalRecords()

    class Meta:
        ordering = ["due_on", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["order", "position"], name="a_line_has_its_place"),
            models.CheckConstraint(condition=Q(length_m__gt=0), name="a_line_has_length"),
        ]

    def __str__(self) -> str:
        return f"{self.order.number}/{self.position}"


# What a change of a line says, as it is kept: what each column was, and is now. An empty note is none.
LINE_CHANGES = {
    "colourway": N_("cloth %(was)s, now %(now)s"),
    "pieces": N_("pieces %(was)s, now %(now)s"),
    "length_m": N_("length %(was)s m, now %(now)s m"),
    "due_on": N_("due %(was)s, now %(now)s"),
    "tolerance_pct": N_("tolerance %(was)s %%, now %(now)s %%"),
    "weight": N_("weight %(was)s, now %(now)s"),
    "note": N_("note %(was)s, now %(now)s"),
}
LINE_CHANGED = (N_("note none, now %(now)s"), N_("note %(was)s, now none"), *LINE_CHANGES.values())


class WarpQuerySet(models.QuerySet["Warp"]):
    def open(self) -> WarpQuerySet:
        return self.exclude(state=Warp.WOVEN_OUT)

    def follows_revisions(self) -> WarpQuerySet:
        """Warps that no yarn has been drawn for: a new revision changes them."""
        return self.filter(state__in=[Warp.PROPOSED, Warp.PLANNED])


class Warp(models.Model):
    PROPOSED, PLANNED, YARN_DRAWN, WOUND = N_("proposed"), N_("planned"), N_("yarn drawn"), N_("wound")
    GAITED, WEAVING, WOVEN_OUT = N_("gaited"), N_("weaving"), N_("woven out")
    STATES = [(s, s) for s in (PROPOSED, PLANNED, YARN_DRAWN, WOUND, GAITED, WEAVING, WOVEN_OUT)]

    number = models.PositiveIntegerField(unique=True)
    state = models.CharField(max_length=12, choices=STATES, default=PROPOSED, db_index=True)
    beam = models.ForeignKey(Beam, null=True, blank=True, on_delete=models.PROTECT, related_name="warps")
    loom = models.ForeignKey(
        Loom,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="warps",
        help_text="Where it hangs or hung.",
    )
    picks_woven = models.PositiveIntegerField(default=0)
    pin_loom = models.ForeignKey(Loom, null=True, blank=True, on_delete=models.SET_NULL, related_name="pinned_warps")
    pin_starts_at = models.DateTimeField(null=True, blank=True)
    is_locked = models.BooleanField(default=False, help_text="Combining leaves it as it is.")
    made_at = models.DateTimeField(auto_now_add=True)
    woven_out_on = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)
    objects = WarpQuerySet.as_manager()
    # Who took it a step on or back, when and why.
    history = HistoricalRecords()

    class Meta:
        ordering = ["number"]

    def __str__(self) -> str:
        return f"Warp {self.number}"

    @property
    def called(self) -> str:
        """Its name in the language of the page; what is kept holds the English one."""
        return gettext("Warp %(number)s") % {"number": self.number}


class WarpPart(models.Model):
    """Pieces of one order line on a warp, in the order in which they are woven."""

    warp = models.ForeignKey(Warp, on_delete=models.CASCADE, related_name="parts")
    position = models.PositiveIntegerField()
    line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, related_name="parts")
    spec = models.ForeignKey(ClothSpec, on_delete=models.PROTECT, related_name="parts")
    pieces = models.PositiveIntegerField(validators=[MinValueValidator(1)])

    class Meta:
        ordering = ["position"]
        constraints = [models.UniqueConstraint(fields=["warp", "position"], name="a_part_has_its_place")]

    def __str__(self) -> str:
        return f"{self.pieces} of {self.line}"

    @property
    def called(self) -> str:
        return gettext("%(pieces)s of %(line)s") % {"pieces": self.pieces, "line": self.line}


class Ruling(models.Model):
    """A planner's word on a warp that was proposed: later proposals keep to it until it is taken back."""

    TOGETHER, APART = "together", "apart"
    KINDS = [(k, k) for k in (TOGETHER, APART)]

    kind = models.CharField(max_length=8, choices=KINDS)
    made_at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    history = HistoricalRecords()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"Ruling {self.pk}, {self.kind}"


class RulingPart(models.Model):
    """Pieces of an order line that a ruling is on, as they were proposed."""

    ruling = models.ForeignKey(Ruling, on_delete=models.CASCADE, related_name="parts")
    line = models.ForeignKey(OrderLine, on_delete=models.CASCADE, related_name="ruling_parts")
    pieces = models.PositiveIntegerField(validators=[MinValueValidator(1)])

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["ruling", "line"], name="a_line_stands_once_in_a_ruling")]

    def __str__(self) -> str:
        return f"{self.pieces} of {self.line}"


class WarpFigures(models.Model):
    """Derived: a warp worked out. `ticket.py` has the sums; `audit` re-derives every row."""

    warp = models.OneToOneField(Warp, on_delete=models.CASCADE, related_name="worked")
    figures = models.JSONField(null=True, help_text="None when the warp can't be worked out.")
    trouble = models.TextField(blank=True, help_text="Why it can't be woven as it stands, in sentences.")
    warp_key = models.CharField(max_length=64, blank=True, db_index=True)
    family_key = models.CharField(max_length=64, blank=True)
    reed_width_cm = figure(6, 1, default=0)
    shafts = models.PositiveIntegerField(default=0)
    weft_colours = models.PositiveIntegerField(default=0)
    ends = models.PositiveIntegerField(default=0)
    warp_length_m = figure(8, 1, default=0)
    picks = models.PositiveIntegerField(default=0)
    warp_g = models.PositiveIntegerField(default=0)
    weft_g = models.PositiveIntegerField(default=0)
    warping_min = models.PositiveIntegerField(default=0)
    worked_from = models.CharField(max_length=80, blank=True, help_text="Fingerprint of what it was worked from.")
    worked_at = models.DateTimeField(auto_now=True)
    # Set in the transaction that changes what the figures follow from; the job that works them out clears it.
    is_stale = models.BooleanField(default=True)

    class Meta:
        indexes = [models.Index(fields=["warp"], condition=Q(is_stale=True), name="warps_being_worked_out")]

    def __str__(self) -> str:
        return f"Figures of {self.warp}"

    @property
    def why_trouble(self) -> str:
        """The trouble in the language of the page; it is kept in English."""
        return told_again(self.trouble)

    @property
    def told_trouble(self) -> Told:
        """For a refusal, that is put into words later."""
        return Told(self.trouble)


class WarpYarn(models.Model):
    """Derived: grams of a yarn that a warp takes, by use."""

    WARP, WEFT = N_("warp"), N_("weft")
    USES = [(WARP, "warp"), (WEFT, "weft")]

    warp = models.ForeignKey(Warp, on_delete=models.CASCADE, related_name="yarns")
    yarn = models.ForeignKey(Yarn, on_delete=models.PROTECT, related_name="warp_yarns")
    use = models.CharField(max_length=4, choices=USES)
    length_m = figure(12, 1)
    net_g = models.PositiveIntegerField()
    issue_g = models.PositiveIntegerField()

    class Meta:
        ordering = ["use", "yarn__code"]
        constraints = [models.UniqueConstraint(fields=["warp", "yarn", "use"], name="a_need_stands_once")]

    def __str__(self) -> str:
        return f"{self.warp} {self.use} {self.yarn}: {self.issue_g} g"


class WarpHold(models.Model):
    """A lot held for a warp. In the warp one dye lot a yarn; in the weft more, changed at a piece."""

    warp = models.ForeignKey(Warp, on_delete=models.PROTECT, related_name="holds")
    yarn = models.ForeignKey(Yarn, on_delete=models.PROTECT, related_name="+")
    use = models.CharField(max_length=4, choices=WarpYarn.USES)
    reservation = models.OneToOneField(Reservation, on_delete=models.PROTECT, related_name="warp_hold")
    drawn_g = models.PositiveIntegerField(default=0)
    is_drawn = models.BooleanField(default=False)

    class Meta:
        ordering = ["use", "pk"]

    def __str__(self) -> str:
        return f"{self.warp} {self.use}: {self.reservation}"


class FeedLink(models.Model):
    """An address that lets a program read one thing without signing in. `services/feeds.py` has the rules."""

    SHED, LOOM, ORDERS, LOTS, PLAN = "shed", "loom", "orders", "lots", "plan"
    WHAT = [
        (SHED, N_("the shed, as a calendar")),
        (LOOM, N_("one loom, as a calendar")),
        (ORDERS, N_("open order lines, as CSV")),
        (LOTS, N_("lots with yarn left, as CSV")),
        (PLAN, N_("the plan in force, as CSV")),
    ]

    what = models.CharField(max_length=10, choices=WHAT)
    loom = models.ForeignKey(Loom, null=True, blank=True, on_delete=models.CASCADE, related_name="feeds")
    label = models.CharField(max_length=60, help_text=N_("Who or what will read it."))
    # Nobody, for what was in the book before feeds had makers.
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="feed_links"
    )
    digest = models.CharField(max_length=64, unique=True, editable=False)
    made_at = models.DateTimeField(auto_now_add=True)
    last_used_at = models.DateTimeField(null=True, blank=True, editable=False)
    withdrawn_at = models.DateTimeField(null=True, blank=True, editable=False)

    history = HistoricalRecords(excluded_fields=["digest", "last_used_at"])

    class Meta:
        verbose_name = "feed"
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(what="loom", loom__isnull=False) | (~models.Q(what="loom") & models.Q(loom=None)),
                name="a_feed_of_a_loom_names_it",
            )
        ]

    def __str__(self) -> str:
        return self.label


class PlanRun(models.Model):
    """A plan of warps on looms, with what it was worked from. Only the one in force counts."""

    OFFERED, IN_FORCE, OVERTAKEN, REFUSED = N_("offered"), N_("in force"), N_("overtaken"), N_("refused")
    STATES = [(s, s) for s in (OFFERED, IN_FORCE, OVERTAKEN, REFUSED)]

    rule = models.CharField(max_length=60, help_text="Earliest due date, improved, by hand …")
    state = models.CharField(max_length=10, choices=STATES, default=OFFERED, db_index=True)
    made_at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    starts_at = models.DateTimeField(help_text="Minute 0 of the plan: a Monday midnight.")
    fingerprint = models.CharField(max_length=80, help_text="Of everything that it was worked from.")
    cost = models.JSONField(default=dict, help_text="In its parts.")
    is_optimal = models.BooleanField(default=False)
    duration_ms = models.PositiveIntegerField(default=0)
    left_out = models.JSONField(default=list, help_text="Warps that fit no loom, with the reasons.")
    base = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
        help_text="The plan in force when this one was made.",
    )
    explained = models.JSONField(
        default=dict, help_text="What was said of it when it was made: services/explaining.py has the words."
    )
    in_force_from = models.DateTimeField(null=True, blank=True)
    decided_at = models.DateTimeField(null=True, blank=True, help_text="When it was put in force, or aside.")
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    retimed_at = models.DateTimeField(null=True, blank=True, help_text="Its times follow the floor up to here.")

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.UniqueConstraint(fields=["state"], condition=Q(state="in force"), name="one_plan_is_in_force")
        ]

    def __str__(self) -> str:
        return f"Plan {self.pk}"

    @property
    def rule_called(self) -> str:
        """By which rule it was made, in the language of the page; kept in English."""
        return retold(self.rule, PLANNED_BY)


PLANNED_BY = (
    N_("earliest due date"),
    N_("set-ups first"),
    N_("best paper rule"),
    N_("improved"),
    N_("re-planned with few moves"),
    N_("first plan, while the search gets ready"),
    N_("as plan %(plan)s"),
    N_("by hand: warp %(warp)s to loom %(loom)s"),
)


class SlotQuerySet(models.QuerySet["Slot"]):
    def open(self) -> SlotQuerySet:
        """Of warps that are still to be woven out; a plan keeps the others as a record."""
        return self.exclude(warp__state=Warp.WOVEN_OUT)


class Slot(models.Model):
    """A warp on a loom in a plan."""

    run = models.ForeignKey(PlanRun, on_delete=models.CASCADE, related_name="slots")
    warp = models.ForeignKey(Warp, on_delete=models.CASCADE, related_name="slots")
    loom = models.ForeignKey(Loom, on_delete=models.CASCADE, related_name="slots")
    position = models.PositiveIntegerField()
    setup = models.CharField(max_length=12, help_text="weft change, tie-in, draw-in, gait-up, or none.")
    setup_min = models.PositiveIntegerField(default=0)
    winding_on = models.DateField(null=True, blank=True)
    setup_starts_at = models.DateTimeField()
    setup_stops_at = models.DateTimeField()
    weaving_starts_at = models.DateTimeField(db_index=True)
    weaving_stops_at = models.DateTimeField()
    # As the plan was put in force; empty until the floor has moved it.
    first_starts_at = models.DateTimeField(null=True, blank=True, help_text="Weaving, before it was re-timed.")
    first_stops_at = models.DateTimeField(null=True, blank=True, help_text="Weaving, before it was re-timed.")
    late_min = models.PositiveIntegerField(default=0, help_text="Minutes late, summed over its pieces.")
    days_late = models.PositiveIntegerField(
        default=0, help_text="Days after it is due on which the latest of its lines is finished."
    )
    why = models.CharField(max_length=300, blank=True)
    objects = SlotQuerySet.as_manager()

    class Meta:
        ordering = ["loom__code", "position"]
        constraints = [
            models.UniqueConstraint(fields=["run", "warp"], name="a_warp_stands_once_in_a_plan"),
            models.UniqueConstraint(fields=["run", "loom", "position"], name="a_slot_has_its_place"),
        ]

    def __str__(self) -> str:
        return f"{self.warp} on {self.loom}"


class JobTicket(models.Model):
    """A warp's figures as they were printed. Never changed; it may be overtaken or withdrawn."""

    number = models.PositiveIntegerField(unique=True)
    token = models.CharField(max_length=24, unique=True, help_text="In the QR code's address.")
    warp = models.ForeignKey(Warp, on_delete=models.PROTECT, related_name="tickets")
    loom = models.ForeignKey(Loom, null=True, on_delete=models.PROTECT, related_name="tickets")
    specs = models.ManyToManyField(ClothSpec, related_name="tickets")
    figures = models.JSONField(help_text="planning.ticket.Figures, frozen.")
    extras = models.JSONField(default=dict, help_text="Lots, dates, set-up and names as they stood.")
    worked_from = models.CharField(max_length=80)
    day = models.DateField(db_index=True, help_text="The day it is for.")
    issued_at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    overtaken_at = models.DateTimeField(null=True, blank=True)
    overtaken_why = models.CharField(max_length=300, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_why = models.CharField(max_length=200, blank=True)
    withdrawn_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-number"]

    def __str__(self) -> str:
        return f"Ticket {self.number}"

    @property
    def called(self) -> str:
        return gettext("Ticket %(number)s") % {"number": self.number}

    @property
    def why_overtaken(self) -> str:
        """Why, in the language of the page; it is kept in English."""
        return retold(self.overtaken_why, OVERTAKEN_BY, {"what": LINE_CHANGED})


# As the services keep it.
OVERTAKEN_BY = (
    N_("Ticket %(number)s takes its place."),
    N_("The warp's figures have changed since this ticket was issued."),
    N_("Cloth %(cloth)s is now revision %(now)s; this ticket is from revision %(then)s."),
    N_("The parts of Warp %(warp)s are woven in another order."),
    N_("%(part)s of its %(pieces)s pieces went on Warp %(warp)s."),
    N_("Order line %(line)s was changed: %(what)s."),
    N_("Order %(order)s is for %(customer)s now."),
    N_("Order %(order)s has the reference none now."),
    N_("Order %(order)s has the reference %(reference)s now."),
    N_("%(pieces)s pieces of %(line)s were put on Warp %(warp)s."),
    N_("The pieces of Warp %(warp)s were joined to it."),
    N_("Its pieces went on Warp %(warp)s."),
    N_("%(parts)s taken off Warp %(warp)s."),
    N_("%(parts)s taken off."),
    N_("Taken apart."),
)


class Piece(models.Model):
    """A length of cloth with a number, from the cut to dispatch."""

    GREY, FINISHING, READY, SENT = N_("grey"), N_("finishing"), N_("ready"), N_("sent")
    STATES = [(s, s) for s in (GREY, FINISHING, READY, SENT)]
    PASS, SECOND, MEND_AGAIN, RE_FINISH = N_("pass"), N_("second"), N_("mend again"), N_("re-finish")
    VERDICTS = [(v, v) for v in (PASS, SECOND, MEND_AGAIN, RE_FINISH)]

    number = models.CharField(max_length=20, unique=True)
    spec = models.ForeignKey(ClothSpec, on_delete=models.PROTECT, related_name="woven_pieces")
    warp = models.ForeignKey(Warp, null=True, blank=True, on_delete=models.PROTECT, related_name="woven_pieces")
    line = models.ForeignKey(OrderLine, null=True, blank=True, on_delete=models.PROTECT, related_name="woven_pieces")
    state = models.CharField(max_length=10, choices=STATES, default=GREY, db_index=True)
    woven_on = models.DateField()
    grey_length_m = figure(7, 2, at_least=0)
    grey_width_cm = figure(6, 1, at_least=0)
    finished_on = models.DateField(null=True, blank=True)
    finished_length_m = figure(7, 2, null=True, blank=True)
    finished_width_cm = figure(6, 1, null=True, blank=True)
    mass_g = models.PositiveIntegerField(null=True, blank=True)
    points = models.PositiveIntegerField(null=True, blank=True, help_text="Four-point grading, the piece's total.")
    note = models.CharField(max_length=200, blank=True)
    cut = models.PositiveIntegerField(null=True, blank=True, help_text="Which of its warp's pieces, from the front.")
    picks = models.PositiveIntegerField(null=True, blank=True, help_text="As woven: its length at the loom's setting.")
    woven_by = models.ForeignKey("Worker", null=True, blank=True, on_delete=models.PROTECT, related_name="woven_pieces")
    perched_on = models.DateField(null=True, blank=True, help_text="Grey perch.")
    mending_min = models.PositiveIntegerField(default=0, help_text="That the percher asks of the menders, in all.")
    verdict = models.CharField(max_length=10, choices=VERDICTS, blank=True)
    round = models.PositiveIntegerField(default=1, help_text="2 when it goes through finishing again.")
    round_from = models.PositiveIntegerField(default=1, help_text="The step with which this round begins.")

    history = HistoricalRecords()

    class Meta:
        ordering = ["-woven_on", "number"]
        constraints = [models.UniqueConstraint(fields=["warp", "cut"], name="a_piece_is_cut_once")]

    # Off the loom a piece has the width of its plan and the length of the loom's counter; one that came without a cut
    # was measured before.
    MEASURED_GREY = Q(cut=None) | Q(perched_on__isnull=False)

    def __str__(self) -> str:
        return self.number

    @property
    def is_measured_grey(self) -> bool:
        return self.cut is None or self.perched_on is not None


class Worker(models.Model):
    """Somebody of the floor, known there by a short code."""

    TRADES = [(t, t) for t in (N_("weaver"), N_("warper"), N_("tuner"), N_("mender"), N_("finisher"), N_("store"))]

    code = models.CharField(max_length=8, unique=True)
    name = models.CharField(max_length=80)
    trade = models.CharField(max_length=10, choices=TRADES)
    is_in_use = models.BooleanField(default=True)

    history = HistoricalRecords()

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"

    def clean(self) -> None:
        self.code = self.code.strip().upper()


class Machine(models.Model):
    """A machine of the finishing, or a table of the menders, and what it gets through in a working day."""

    name = models.CharField(max_length=60, unique=True)
    step = models.CharField(max_length=60, help_text=N_("The step of a route that it does, as routes write it: scour."))
    m_per_day = figure(8, 1, at_least=1)

    history = HistoricalRecords()

    class Meta:
        ordering = ["step", "name"]

    def __str__(self) -> str:
        return self.name


class PieceEntry(models.Model):
    """A line of a piece's account: what happened to it, when, and who says so. Added, never changed."""

    piece = models.ForeignKey(Piece, on_delete=models.PROTECT, related_name="entries")
    at = models.DateTimeField(auto_now_add=True)
    said = models.CharField(max_length=300)
    worker = models.ForeignKey(Worker, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    key = models.CharField(max_length=64, unique=True, null=True, help_text="The same key counts once.")

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.piece}: {self.said}"

    @property
    def told(self) -> str:
        """What happened, in the language of the page; it is kept in English."""
        return retold(self.said, ENTERED)


JUDGED_NO_MORE = N_("It passed with fewer points for its limit than it has now: it waits for a verdict again.")
# As the services enter it; a form that another would fit as well stands after it.
ENTERED = (
    N_("Cut off Warp %(warp)s, %(length)s m, beyond what is on the warp, for no line yet."),
    N_("Cut off Warp %(warp)s, %(length)s m, for %(line)s."),
    N_("Grey length corrected from %(was)s m to %(length)s m: %(why)s"),
    N_("Grey perch: %(length)s m x %(width)s cm relaxed, nothing to mend."),
    N_("Grey perch: %(length)s m x %(width)s cm relaxed, %(minutes)s min to mend."),
    N_("Mended %(minutes)s min, %(left)s min left."),
    N_("%(faults)s faults, %(points)s points."),
    N_("Measured %(length)s m x %(width)s cm relaxed, not weighed."),
    N_("Measured %(length)s m x %(width)s cm relaxed, %(grams)s g."),
    N_("Judged: pass."),
    N_("Judged: pass. %(why)s"),
    N_("Judged: second. %(why)s"),
    N_("Judged: mend again, %(minutes)s min. %(why)s"),
    N_("Judged: re-finish from step %(step)s. %(why)s"),
    JUDGED_NO_MORE,
    N_("Put to no line instead of %(was)s."),
    N_("Put to no line instead of %(was)s. %(why)s"),
    N_("Put to %(line)s instead of none."),
    N_("Put to %(line)s instead of none. %(why)s"),
    N_("Put to %(line)s instead of %(was)s."),
    N_("Put to %(line)s instead of %(was)s. %(why)s"),
    N_("Into %(step)s, Batch %(batch)s."),
    N_("Out of %(step)s, Batch %(batch)s: %(width)s cm x %(length)s m."),
    N_("Out of %(step)s, Batch %(batch)s: %(width)s cm."),
    N_("Out of %(step)s, Batch %(batch)s: %(length)s m."),
    N_("Out of %(step)s, Batch %(batch)s."),
    N_("Not put into %(step)s after all, Batch %(batch)s: %(why)s"),
    N_("Sent to %(customer)s, Dispatch %(dispatch)s."),
    N_("Dispatch %(dispatch)s is taken back: %(why)s"),
)


class PieceFault(models.Model):
    """A fault that the percher found, for four-point grading."""

    piece = models.ForeignKey(Piece, on_delete=models.CASCADE, related_name="faults")
    at_m = figure(7, 2)
    length_mm = figure(7, 1, at_least=1)
    is_hole = models.BooleanField(default=False)
    name = models.CharField(max_length=60, blank=True)

    class Meta:
        ordering = ["at_m", "pk"]

    def __str__(self) -> str:
        return f"{self.name or 'fault'} at {self.at_m} m"


class PieceMend(models.Model):
    """Minutes that a mender spent on a piece."""

    piece = models.ForeignKey(Piece, on_delete=models.PROTECT, related_name="mends")
    minutes = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    on = models.DateField()
    worker = models.ForeignKey(Worker, null=True, blank=True, on_delete=models.PROTECT, related_name="mends")
    key = models.CharField(max_length=64, unique=True, help_text="The same key counts once.")

    class Meta:
        ordering = ["on", "pk"]

    def __str__(self) -> str:
        return f"{self.piece}: {self.minutes} min"


class FinishingBatch(models.Model):
    """Pieces sewn end to end that go through one step together, whoever ordered them."""

    number = models.PositiveIntegerField(unique=True)
    step = models.CharField(max_length=60)
    in_at = models.DateTimeField()
    out_at = models.DateTimeField(null=True, blank=True, db_index=True)
    worker = models.ForeignKey(Worker, null=True, blank=True, on_delete=models.PROTECT, related_name="batches")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    key = models.CharField(max_length=64, unique=True, help_text="The same key counts once.")
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-number"]
        verbose_name_plural = "finishing batches"

    def __str__(self) -> str:
        return f"Batch {self.number}"

    @property
    def called(self) -> str:
        """Its name in the language of the page."""
        return gettext("Batch %(number)s") % {"number": self.number}


class BatchPiece(models.Model):
    """A piece in a batch: which step of its own route it goes through, in which round."""

    batch = models.ForeignKey(FinishingBatch, on_delete=models.CASCADE, related_name="pieces")
    piece = models.ForeignKey(Piece, on_delete=models.PROTECT, related_name="steps")
    position = models.PositiveIntegerField(help_text="As they are sewn, from the front.")
    round = models.PositiveIntegerField(default=1)
    step_position = models.PositiveIntegerField()
    is_out = models.BooleanField(default=False)
    width_cm = figure(6, 1, null=True, blank=True)
    length_m = figure(7, 2, null=True, blank=True)

    class Meta:
        ordering = ["batch", "position"]
        constraints = [
            models.UniqueConstraint(fields=["batch", "position"], name="a_piece_has_its_place_in_the_batch"),
            models.UniqueConstraint(
                fields=["piece", "round", "step_position"], name="a_piece_takes_a_step_once_a_round"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.piece} in {self.batch}"


class Dispatch(models.Model):
    """What leaves for a customer together: the note and the packing list are printed from it."""

    number = models.PositiveIntegerField(unique=True)
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="dispatches")
    sent_on = models.DateField()
    made_at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    key = models.CharField(max_length=64, unique=True, help_text="The same key counts once.")
    note = models.CharField(max_length=200, blank=True)
    points_limit_per_100_yd2 = figure(5, 1, null=True, blank=True, help_text="The customer's when it was sent.")
    taken_back_at = models.DateTimeField(null=True, blank=True)
    taken_back_why = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-number"]
        verbose_name_plural = "dispatches"

    def __str__(self) -> str:
        return f"Dispatch {self.number}"

    @property
    def called(self) -> str:
        """Its name in the language of the page."""
        return gettext("Dispatch %(number)s") % {"number": self.number}


class DispatchPiece(models.Model):
    """A piece on a dispatch note, for the line it was sent against, as long as it was measured."""

    dispatch = models.ForeignKey(Dispatch, on_delete=models.PROTECT, related_name="pieces")
    piece = models.ForeignKey(Piece, on_delete=models.PROTECT, related_name="dispatches")
    line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, related_name="dispatched")
    length_m = figure(7, 2)
    width_cm = figure(6, 1)
    mass_g = models.PositiveIntegerField(null=True, blank=True)

    class Meta:
        ordering = ["line", "piece__number"]
        constraints = [models.UniqueConstraint(fields=["dispatch", "piece"], name="a_piece_is_packed_once")]

    def __str__(self) -> str:
        return f"{self.piece} on {self.dispatch}"


class FloorEvent(models.Model):
    """Something that a person of the floor told the book. Added, never changed; a mistake gets an event of its own."""

    WOUND, GAITED, STARTED, STOPPED, RUNNING = "wound", "gaited", N_("started"), N_("stopped"), N_("running")
    PIECE_OFF, WARP_OUT = N_("piece off"), N_("warp out")
    WEFT_CHANGED, YARN_RETURNED = N_("weft changed"), N_("yarn returned")
    PICKS, UNDONE = N_("picks"), N_("undone")
    KINDS = [
        (k, k)
        for k in (
            WOUND,
            GAITED,
            STARTED,
            STOPPED,
            RUNNING,
            PIECE_OFF,
            WARP_OUT,
            WEFT_CHANGED,
            YARN_RETURNED,
            PICKS,
            UNDONE,
        )
    ]

    key = models.CharField(max_length=64, unique=True, help_text="Made on the phone; the same key counts once.")
    kind = models.CharField(max_length=14, choices=KINDS)
    warp = models.ForeignKey(Warp, on_delete=models.PROTECT, related_name="events")
    loom = models.ForeignKey(Loom, null=True, blank=True, on_delete=models.PROTECT, related_name="events")
    ticket = models.ForeignKey(JobTicket, null=True, blank=True, on_delete=models.PROTECT, related_name="events")
    worker = models.ForeignKey(Worker, on_delete=models.PROTECT, related_name="events")
    happened_at = models.DateTimeField(help_text="By the phone's clock.")
    received_at = models.DateTimeField(auto_now_add=True)
    facts = models.JSONField(default=dict, help_text="Reason, length, lot, grams: what belongs to the kind.")
    piece = models.ForeignKey(Piece, null=True, blank=True, on_delete=models.SET_NULL, related_name="events")
    undoes = models.OneToOneField("self", null=True, blank=True, on_delete=models.PROTECT, related_name="undone_by")
    refused = models.CharField(max_length=500, blank=True, help_text="Why it could not be done, when it could not.")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["warp", "happened_at"])]

    # What was told just now and could not be done still speaks every language; what is kept of it is English.
    refusal: Refusal | None = None

    def __str__(self) -> str:
        return f"{self.kind} on {self.warp}"

    @property
    def why_refused(self) -> str:
        return self.refusal.message if self.refusal else self.refused


class Stop(models.Model):
    """A loom stood, and why. Waits are scheduled time; the others count against the running efficiency."""

    WARP_BREAK, WEFT_BREAK, MENDING, TUNER = N_("warp break"), N_("weft break"), N_("fault taken out"), N_("tuner")
    NO_WEFT, NO_WEAVER, CLEANING, OTHER = N_("no weft"), N_("no weaver"), N_("cleaning"), N_("other")
    REASONS = [(r, r) for r in (WARP_BREAK, WEFT_BREAK, MENDING, TUNER, NO_WEFT, NO_WEAVER, CLEANING, OTHER)]
    WAITS = (NO_WEFT, NO_WEAVER, CLEANING)

    warp = models.ForeignKey(Warp, on_delete=models.PROTECT, related_name="stops")
    loom = models.ForeignKey(Loom, on_delete=models.PROTECT, related_name="stops")
    reason = models.CharField(max_length=16, choices=REASONS)
    starts_at = models.DateTimeField(db_index=True)
    stops_at = models.DateTimeField(null=True, blank=True)
    worker = models.ForeignKey(Worker, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["starts_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["warp"], condition=Q(stops_at__isnull=True), name="a_loom_stands_for_one_reason"
            )
        ]

    def __str__(self) -> str:
        return f"{self.loom} stood: {self.reason}"


# Money


class Rate(models.Model):
    """What the mill reckons with when it costs, from a day on: hours, finishing steps, allowances, overhead, margin.

    A rate that changes is a new one from its day on, so that what was woven before keeps what it cost.
    """

    WARPING, SET_UP, LOOM, MENDING, STEP = "warping", "set-up", "loom", "mending", "step"
    MENDING_ALLOWED, SECONDS, WORTH, OVERHEAD, MARGIN = "mending allowed", "seconds", "worth", "overhead", "margin"
    KINDS = [
        (WARPING, N_("warping, an hour")),
        (SET_UP, N_("set-up of a loom, an hour")),
        (LOOM, N_("weaving, a loom-hour")),
        (MENDING, N_("mending, an hour")),
        (STEP, N_("a finishing step")),
        (MENDING_ALLOWED, N_("mending reckoned with, minutes in 100 m grey")),
        (SECONDS, N_("seconds reckoned with, % of finished metres")),
        (WORTH, N_("what a second fetches, % of its cost")),
        (OVERHEAD, N_("overhead, % of all costs before it")),
        (MARGIN, N_("margin of a quote, % of the price")),
    ]
    BASES = [
        (cost.PER_M, N_("a metre, grey")),
        (cost.PER_KG, N_("a kilogram, grey")),
        (cost.PER_DAY, N_("a day of its machine")),
    ]
    PERCENTAGES = (SECONDS, WORTH, OVERHEAD, MARGIN)
    # Of all of it nothing would be left to bear the cost, or to pay it.
    NOT_ALL = (SECONDS, MARGIN)

    kind = models.CharField(max_length=20, choices=KINDS)
    of = models.CharField(
        max_length=60,
        blank=True,
        help_text="A loom's number or kind, without one every loom; of a finishing step its name, as routes write it.",
    )
    basis = models.CharField(max_length=4, choices=BASES, blank=True, help_text="Of a finishing step.")
    amount = figure(12, 4, help_text="In the mill's currency, or in the unit that its kind says.")
    from_on = models.DateField(help_text="In force from this day on.")

    history = HistoricalRecords()

    class Meta:
        ordering = ["kind", "of", "-from_on"]
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "of", "from_on"],
                name="a_rate_begins_once_on_a_day",
                violation_error_message=gettext_lazy(
                    "There is such a rate from that day on: change it, or choose another day."
                ),
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}{f', {self.of}' if self.of else ''}"

    @property
    def called(self) -> str:
        return f"{gettext(self.get_kind_display())}{f', {self.of}' if self.of else ''}"

    def clean(self) -> None:
        self.of = self.of.strip()
        wrong: dict[str, str] = {}
        kind = {"kind": gettext(self.get_kind_display()) if self.kind else ""}
        if self.kind == self.STEP:
            if not self.of:
                wrong["of"] = gettext("Say which finishing step, as the routes write it: scour.")
            if not self.basis:
                wrong["basis"] = gettext("Say what it is the price of: a metre, a kilogram, or a day of its machine.")
        else:
            if self.basis:
                wrong["basis"] = gettext("Only a finishing step has one; leave it empty for %(kind)s.") % kind
            if self.of and self.kind != self.LOOM:
                wrong["of"] = gettext("There is one rate of %(kind)s for the whole mill: leave this empty.") % kind
        if self.kind == self.LOOM and self.of:
            known = Loom.objects.filter(Q(code__iexact=self.of) | Q(kind__iexact=self.of)).exists()
            if not known:
                unknown = gettext(
                    "No loom is numbered “%(of)s”, and none is of that kind. Write it as the loom has it."
                )
                wrong["of"] = unknown % {"of": self.of}
        if self.kind in self.NOT_ALL and self.amount is not None and self.amount >= 100:
            wrong["amount"] = in_words(
                N_("%(pct)s %% would be all of it: write less than 100 %%."),
                pct=Decimal(f"{self.amount.normalize():f}"),
            )
        if wrong:
            raise ValidationError(wrong)


class YarnPrice(models.Model):
    """What a kilogram costs: of a yarn from a day on, or as it was paid for one delivery, or for one lot."""

    yarn = models.ForeignKey(Yarn, on_delete=models.PROTECT, related_name="prices")
    delivery = models.OneToOneField(
        Delivery, null=True, blank=True, on_delete=models.PROTECT, related_name="price", help_text="As it was invoiced."
    )
    lot = models.OneToOneField(
        YarnLot, null=True, blank=True, on_delete=models.PROTECT, related_name="price", help_text="As it was paid."
    )
    per_kg = figure(12, 4, help_text="In the mill's currency.")
    from_on = models.DateField(help_text="In force from this day on; of a delivery or a lot, the day of its invoice.")

    history = HistoricalRecords()

    class Meta:
        ordering = ["yarn__code", "-from_on", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["yarn", "from_on"],
                condition=Q(delivery__isnull=True, lot__isnull=True),
                name="a_yarn_has_one_price_from_a_day",
                violation_error_message=gettext_lazy(
                    "The yarn has a price from that day on: change it, or choose another day."
                ),
            ),
            models.CheckConstraint(
                condition=Q(delivery__isnull=True) | Q(lot__isnull=True), name="a_price_is_of_a_delivery_or_of_a_lot"
            ),
        ]

    def __str__(self) -> str:
        if self.lot:
            return f"Price of lot {self.lot}"
        return f"Price of delivery {self.delivery}" if self.delivery else f"Price of {self.yarn.code}"

    @property
    def called(self) -> str:
        if self.lot:
            return gettext("Price of lot %(lot)s") % {"lot": self.lot}
        if self.delivery:
            return gettext("Price of delivery %(delivery)s") % {"delivery": self.delivery}
        return gettext("Price of %(yarn)s") % {"yarn": self.yarn.code}

    def clean(self) -> None:
        if self.delivery_id and self.lot_id:
            not_both = gettext("Write a price of the delivery or of the lot, not of both at once.")
            raise ValidationError({"lot": not_both})
        for name in ("delivery", "lot"):
            of = getattr(self, name)
            if of is not None and self.yarn_id and of.yarn_id != self.yarn_id:
                other = gettext("%(of)s is yarn %(is_of)s, not %(yarn)s. Choose its own.")
                said = {"of": of, "is_of": of.yarn.code, "yarn": self.yarn.code}
                raise ValidationError({name: other % said})


class Quote(models.Model):
    """What a customer was told: a cloth, so many pieces, their price and the day. Its figures are frozen."""

    colourway = models.ForeignKey(Colourway, on_delete=models.PROTECT, related_name="quotes")
    spec = models.ForeignKey(ClothSpec, on_delete=models.PROTECT, related_name="quotes")
    customer = models.ForeignKey(Customer, null=True, blank=True, on_delete=models.PROTECT, related_name="quotes")
    number = models.PositiveIntegerField(unique=True)
    pieces = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    length_m = figure(7, 2, at_least=0, help_text="Finished, each piece.")
    wished_on = models.DateField(null=True, blank=True)
    promised_on = models.DateField(help_text="The earliest safe day, on the day of the quote.")
    made_on = models.DateField()
    valid_until = models.DateField()
    currency = models.CharField(max_length=3)
    cost = figure(14, 4)
    margin_pct = figure(5, 2, at_most=99, help_text="Of the price.")
    per_m = figure(12, 4, help_text="Price of a finished metre.")
    price = figure(14, 4)
    figures = models.JSONField(default=dict, help_text="Its cost sheet as it was worked.")
    note = models.CharField(max_length=200, blank=True)
    order = models.OneToOneField(Order, null=True, blank=True, on_delete=models.PROTECT, related_name="quote")
    dropped_on = models.DateField(null=True, blank=True)
    dropped_why = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    key = models.CharField(max_length=64, unique=True, help_text="The same key counts once.")

    history = HistoricalRecords(excluded_fields=["figures"])

    class Meta:
        ordering = ["-number"]

    def __str__(self) -> str:
        return f"Quote {self.number}"

    @property
    def called(self) -> str:
        return gettext("Quote %(number)s") % {"number": self.number}

    @property
    def stands(self) -> str:
        """Where it stands, in a word."""
        if self.order_id:
            return N_("ordered")
        if self.dropped_on:
            return N_("dropped")
        return N_("open") if self.valid_until >= timezone.localdate() else N_("run out")
