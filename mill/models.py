from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.conf import settings
from django.core.validators import BaseValidator, MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy
from simple_history.models import HistoricalRecords

from mill.refusal import N_


def figure(digits: int, places: int, **kwargs: Any) -> models.DecimalField[Any, Any]:
    """A measured or promised number: `digits` in all, `places` after the point, never negative."""
    validators: list[BaseValidator] = [MinValueValidator(kwargs.pop("at_least", 0))]
    if "at_most" in kwargs:
        validators.append(MaxValueValidator(kwargs.pop("at_most")))
    return models.DecimalField(max_digits=digits, decimal_places=places, validators=validators, **kwargs)


class Mill(models.Model):
    """The one mill this book belongs to: its name and its own starting values.

    The values are the mill's to overwrite; where each default comes from stands in `help_text`.
    """

    REGAIN_TABLES = [("EU 1007/2011 annex IX",) * 2, ("ASTM D1909",) * 2]

    name = models.CharField(max_length=80, default="Our mill")
    thrums_m = figure(5, 2, default=Decimal("3.00"), help_text=N_("Tie-on and thrums, once a warp. From memory."))
    header_m = figure(5, 2, default=Decimal("0.50"), help_text=N_("Header and cut mark, once a piece. From memory."))
    warp_waste_pct = figure(5, 2, default=Decimal("2.00"), at_most=50, help_text=N_("Of the yarn issued. From memory."))
    weft_waste_pct = figure(5, 2, default=Decimal("5.00"), at_most=50, help_text=N_("Of the yarn issued. From memory."))
    ends_per_section = models.PositiveIntegerField(
        default=320, validators=[MinValueValidator(1)], help_text=N_("Packages the creel holds.")
    )
    creel_load_min = models.PositiveIntegerField(default=75, help_text=N_("From memory."))
    section_change_min = models.PositiveIntegerField(default=8, help_text=N_("From memory."))
    drum_m_per_min = figure(6, 1, default=Decimal("250.0"), at_least=1, help_text=N_("From memory."))
    beaming_m_per_min = figure(6, 1, default=Decimal("40.0"), at_least=1, help_text=N_("From memory."))
    doff_min = models.PositiveIntegerField(default=15, help_text=N_("From memory."))
    cone_g = models.PositiveIntegerField(default=1000, help_text=N_("Yarn on a full cone."))
    beam_density_kg_per_m3 = figure(
        6,
        1,
        default=Decimal("400.0"),
        at_least=1,
        help_text=N_("Yarn on the beam. Woollen 350–450, from memory: weigh one."),
    )
    warping_mills = models.PositiveIntegerField(default=1)
    warping_hours = models.CharField(max_length=200, default="Mon-Fri 06:00-14:00")
    tuners = models.PositiveIntegerField(default=2, help_text=N_("Set-ups that can run at once."))
    tuner_hours = models.CharField(max_length=200, default="Mon-Fri 06:00-18:00")
    weft_change_min = models.PositiveIntegerField(default=20, help_text=N_("From memory."))
    tie_in_min = models.PositiveIntegerField(
        default=120, help_text=N_("Loom stands for a tie-in, knotting apart (Seyam and Oxenham, 2017: 0.5–2 h).")
    )
    knots_per_min = models.PositiveIntegerField(
        default=240, validators=[MinValueValidator(1)], help_text=N_("Tying machine. Print of 1920.")
    )
    draw_in_ends_per_h = models.PositiveIntegerField(
        default=300, validators=[MinValueValidator(1)], help_text=N_("By hand, two people. Print of 1920.")
    )
    reed_change_min = models.PositiveIntegerField(default=30, help_text=N_("From memory."))
    gait_up_min = models.PositiveIntegerField(
        default=240,
        help_text=N_("Gaiting up beside drawing-in and reed (Seyam and Oxenham, 2017: a style change takes 4–8 h)."),
    )
    dearness_of_lateness = models.PositiveIntegerField(
        default=20, help_text=N_("Of a weighted minute late, in a plan.")
    )
    dearness_of_setup = models.PositiveIntegerField(default=5, help_text=N_("Of a minute of set-up, in a plan."))
    dearness_of_move = models.PositiveIntegerField(
        default=10_000,
        help_text=N_(
            "Of a warp that changes loom or time when re-planning; 10 000 is 500 weighted minutes. No source."
        ),
    )
    freeze_days = models.PositiveIntegerField(
        default=3, help_text=N_("Warps that are to start within so many days stay where they are planned. No source.")
    )
    beam_min_m = figure(6, 1, default=Decimal("20.0"), help_text=N_("No warp shorter than this is worth winding."))
    useful_remainder_g = models.PositiveIntegerField(
        default=3000, help_text=N_("Less than this left of a dye lot is of little use. Common practice, no source.")
    )
    store_inspect_days = models.PositiveIntegerField(
        default=30, help_text=N_("A place is looked over so often. In print: monthly to quarterly.")
    )
    store_soon_days = models.PositiveIntegerField(
        default=14, help_text=N_("So often where protein fibre lies long in the dark. Common practice, no source.")
    )
    store_unmoved_days = models.PositiveIntegerField(
        default=90, help_text=N_("Untouched for so long is long unmoved. Common practice, no source.")
    )
    store_catch_trigger = models.PositiveIntegerField(
        default=1, help_text=N_("So many found at one inspection call for action. No source: the mill's own trigger.")
    )
    store_lure_days = models.PositiveIntegerField(
        default=56, help_text=N_("A trap's lure lasts so long. From memory: see its packet.")
    )
    mending_min_per_day = models.PositiveIntegerField(
        default=840, validators=[MinValueValidator(1)], help_text=N_("That the menders have together. No source.")
    )
    points_limit_per_100_yd2 = figure(
        5,
        1,
        default=Decimal("40.0"),
        help_text=N_("Four-point grading, where nothing else is agreed with the customer. Common practice, no source."),
    )
    due_spread_days = models.PositiveIntegerField(default=21, help_text=N_("Orders further apart don't share a warp."))
    holidays_of = models.CharField(
        max_length=12, blank=True, editable=False, help_text=N_("Whose public holidays it keeps: GB-SCT.")
    )
    currency = models.CharField(
        max_length=3,
        default="GBP",
        validators=[
            RegexValidator(r"^[A-Z]{3}\Z", gettext_lazy("Write three capitals, as ISO 4217 has them: GBP, EUR."))
        ],
        help_text=N_("Of prices, rates and quotes: its three letters of ISO 4217."),
    )
    language = models.CharField(
        max_length=8,
        default=settings.LANGUAGE_CODE,
        choices=settings.LANGUAGES,
        help_text=N_("Of whoever has not chosen another."),
    )
    asks_in = models.CharField(
        max_length=10,
        choices=[("metric", N_("metres, cm, kilograms")), ("yards", N_("yards, inches, pounds"))],
        default="metric",
        help_text=N_(
            "What a number without a unit means in a field of a page, which says so beside it. Pages, paper and"
            " the API write metres, cm and kilograms."
        ),
    )
    regain_authority = models.CharField(
        max_length=40,
        blank=True,
        choices=[("", N_("not chosen")), *REGAIN_TABLES],
        help_text=N_(
            "Whose table of regains is offered for yarns and fibres. They differ by 4 % for wool: choose once."
        ),
    )
    lies_open = models.BooleanField(
        default=True,
        help_text=N_("Who sits at the machine that keeps the book reads and writes in it without signing in."),
    )

    history = HistoricalRecords()

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(pk=1), name="there_is_one_mill")]

    def __str__(self) -> str:
        return self.name

    @classmethod
    def the_one(cls) -> Mill:
        """The mill's row, or its starting values when nothing has been written yet."""
        return cls.objects.filter(pk=1).first() or cls(pk=1)

    @classmethod
    def is_open(cls) -> bool:
        """Whether the book lies open, asked with every request of a book on one PC."""
        said = cls.objects.filter(pk=1).values_list("lies_open", flat=True).first()
        return cls().lies_open if said is None else said


class Job(models.Model):
    """Work asked for in the transaction that made it necessary. `jobs.py` has the rules."""

    QUEUED, RUNNING, DONE, FAILED = "queued", "running", "done", "failed"
    STATES = [(QUEUED, N_("waiting")), (RUNNING, N_("being worked")), (DONE, N_("done")), (FAILED, N_("given up"))]

    task = models.CharField(max_length=100)
    payload = models.JSONField(default=dict)
    # Two requests for the same work that nobody has begun are one: the burst key.
    same_as = models.CharField(max_length=200, blank=True, default="")
    state = models.CharField(max_length=10, choices=STATES, default=QUEUED)
    attempts = models.PositiveIntegerField(default=0)
    # How often a worker died over it: counted apart, since a power cut says nothing against the work.
    deaths = models.PositiveIntegerField(default=0)
    worker = models.CharField(max_length=100, blank=True, default="")
    heartbeat_at = models.DateTimeField(null=True, blank=True)
    progress_pct = models.PositiveIntegerField(default=0)
    progress_note = models.CharField(max_length=300, blank=True, default="")
    is_asked_to_stop = models.BooleanField(default=False)
    result = models.JSONField(null=True, blank=True)
    error = models.TextField(blank=True, default="")
    asked_at = models.DateTimeField(auto_now_add=True)
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    stopped_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    # Of the request that asked for it, for the log.
    request_id = models.CharField(max_length=64, blank=True, default="", editable=False)
    started_at = models.DateTimeField(null=True, blank=True)
    completed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["id"]
        indexes = [
            models.Index(fields=["state", "id"]),
            models.Index(fields=["same_as", "state"]),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["same_as"],
                condition=models.Q(state="queued") & ~models.Q(same_as=""),
                name="one_waiting_job_of_a_kind",
            )
        ]

    def __str__(self) -> str:
        return f"{self.task} #{self.pk}"

    @property
    def why_given_up(self) -> str:
        """In a sentence, or empty. What `error` says below it, where in the program it was, is for whoever mends it."""
        return self.error.partition("\n")[0]


class Change(models.Model):
    """One line of the account of changes. Written by the database's own triggers alone: `changes.py` has them."""

    MADE, CHANGED, ENDED = "+", "~", "-"
    WHAT = [(MADE, N_("made")), (CHANGED, N_("changed")), (ENDED, N_("struck out"))]

    at = models.DateTimeField()
    kind = models.CharField(max_length=60, help_text="planning.loom")
    row_pk = models.BigIntegerField()
    what = models.CharField(max_length=1, choices=WHAT)
    history_id = models.BigIntegerField(help_text="The version of the record that came of it.")
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.DO_NOTHING, db_constraint=False, related_name="+"
    )
    # Of PostgreSQL's own count, so that the feed shows nothing before what may still be confirmed earlier.
    transaction_id = models.BigIntegerField(default=0)

    record: str
    why: str
    altered: list[Any]

    class Meta:
        ordering = ["-pk"]
        indexes = [
            models.Index(fields=["kind", "row_pk"]),
            models.Index(fields=["at"]),
            models.Index(fields=["transaction_id", "id"]),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.row_pk}"

    @property
    def cursor(self) -> str:
        return f"{self.transaction_id}-{self.pk}"


class Person(models.Model):
    """Somebody who works with the book, as the account of changes tells of them. `people.py` alone writes it."""

    user = models.OneToOneField(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="told_as")
    name = models.CharField(max_length=310)
    signs_in_as = models.CharField(max_length=150)
    roles = models.CharField(max_length=120, blank=True)
    works_here = models.BooleanField(default=True)
    # Of the password itself nothing is kept here.
    password_set_at = models.DateTimeField(null=True, blank=True)
    # Empty: the mill's.
    language = models.CharField(max_length=8, blank=True, default="", choices=settings.LANGUAGES)

    history = HistoricalRecords()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return self.name


class ApiToken(models.Model):
    """A program may come to the API with it, in the name of its maker. `tokens.py` has the rules."""

    name = models.CharField(max_length=60, help_text=N_("The program that uses it."))
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="api_tokens")
    may_write = models.BooleanField(default=False)
    # Of its maker's, with commas between. None named: all that the maker holds, whatever that comes to be.
    roles = models.CharField(max_length=120, blank=True)
    digest = models.CharField(max_length=64, unique=True, editable=False)
    made_at = models.DateTimeField(auto_now_add=True)
    ends_on = models.DateField(null=True, blank=True, help_text=N_("The last day on which it opens anything."))
    last_used_at = models.DateTimeField(null=True, blank=True, editable=False)
    withdrawn_at = models.DateTimeField(null=True, blank=True, editable=False)

    history = HistoricalRecords(excluded_fields=["digest", "last_used_at"])

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["user", "name"], condition=models.Q(withdrawn_at=None), name="a_person_names_a_token_once"
            )
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def named_roles(self) -> frozenset[str]:
        return frozenset(self.roles.split(", ")) if self.roles else frozenset()

    @property
    def is_open(self) -> bool:
        return self.withdrawn_at is None and (self.ends_on is None or self.ends_on >= timezone.localdate())


class Guess(models.Model):
    """A secret said wrongly. `limits.py` has the rules; what is older than they look back is taken away."""

    kind = models.CharField(max_length=20)
    whose = models.CharField(max_length=100, help_text="Who asked, and from where.")
    said = models.CharField(max_length=64, help_text="A hash: the same again is the same guess.")
    at = models.DateTimeField(auto_now_add=True, db_index=True)

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["kind", "whose", "at"])]

    def __str__(self) -> str:
        return self.kind


class KeptAnswer(models.Model):
    """What a request of the API that wrote was answered, by its key. `once.py` has the rules."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    key = models.CharField(max_length=200)
    fingerprint = models.CharField(max_length=64, help_text="Of the address and what was sent.")
    at = models.DateTimeField(auto_now_add=True, db_index=True)
    status = models.PositiveSmallIntegerField(default=0)
    content_type = models.CharField(max_length=120, blank=True)
    body = models.BinaryField(default=b"")

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["user", "key"], name="a_key_is_answered_once")]

    def __str__(self) -> str:
        return self.key
