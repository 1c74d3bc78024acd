from rest_framework import serializers

from planning.serializers.floor import StoodSerializer


class PunctualitySerializer(serializers.Serializer[object]):
    """Order lines sent whole; `on_time` and `late` add up to `lines`."""

    lines = serializers.IntegerField()
    on_time = serializers.IntegerField(help_text="The last of the line left by its due day.")
    late = serializers.IntegerField()
    short = serializers.IntegerField(help_text="Fewer metres than the tolerance allows.")
    on_time_pct = serializers.DecimalField(max_digits=None, decimal_places=1, allow_null=True)
    median_days = serializers.DecimalField(
        max_digits=None, decimal_places=1, allow_null=True, help_text="Late; less than 0 is early."
    )
    worst_days = serializers.IntegerField(allow_null=True)


class PunctualityOfWeekSerializer(PunctualitySerializer):
    week = serializers.DateField(help_text="Its Monday.")


class PunctualityOfCustomerSerializer(PunctualitySerializer):
    customer = serializers.CharField()


class SentLineSerializer(serializers.Serializer[object]):
    line = serializers.CharField()
    customer = serializers.CharField()
    due_on = serializers.DateField()
    sent_on = serializers.DateField(help_text="The last of it left.")
    days_late = serializers.IntegerField(help_text="Less than 0 is early.")
    ordered_m = serializers.DecimalField(max_digits=None, decimal_places=2)
    sent_m = serializers.DecimalField(max_digits=None, decimal_places=2)
    is_short = serializers.BooleanField()


class LoadSerializer(serializers.Serializer[object]):
    """Working minutes that are open, and those that planned warps take."""

    open_min = serializers.IntegerField()
    weaving_min = serializers.IntegerField()
    setup_min = serializers.IntegerField()
    free_min = serializers.IntegerField()
    load_pct = serializers.DecimalField(
        max_digits=None, decimal_places=1, allow_null=True, help_text="None where nothing is open."
    )


class LoadOfWeekSerializer(LoadSerializer):
    week = serializers.DateField(help_text="Its Monday.")


class LoadOfLoomSerializer(serializers.Serializer[object]):
    loom = serializers.CharField()
    weeks = LoadOfWeekSerializer(many=True)


class LoadOfWarpSerializer(serializers.Serializer[object]):
    warp = serializers.IntegerField()
    weaving_min = serializers.IntegerField()
    setup_min = serializers.IntegerField()


class LoadReportSerializer(serializers.Serializer[object]):
    from_day = serializers.DateField()
    to_day = serializers.DateField()
    plan = serializers.IntegerField(allow_null=True, help_text="The one in force; None without one.")
    all = LoadSerializer()
    looms = LoadOfLoomSerializer(many=True)
    warps = LoadOfWarpSerializer(many=True)


class RunningSerializer(serializers.Serializer[object]):
    """Working minutes: ran, stood as told, stood untold and waited add up to `minutes`."""

    efficiency_pct = serializers.DecimalField(
        max_digits=None,
        decimal_places=1,
        allow_null=True,
        help_text="Picks of those that running without a stop allows.",
    )
    picks = serializers.IntegerField(source="tally.picks")
    length_m = serializers.DecimalField(source="tally.length_m", max_digits=None, decimal_places=2)
    minutes = serializers.IntegerField()
    running_min = serializers.IntegerField()
    told_min = serializers.IntegerField()
    untold_min = serializers.IntegerField()
    waited_min = serializers.IntegerField()
    over_min = serializers.IntegerField(help_text="More picks were told than the minutes hold, by so much.")
    stops = StoodSerializer(many=True)
    waits = StoodSerializer(many=True)


class RunningOfSerializer(serializers.Serializer[object]):
    """Of one loom and week, of one loom, of one week, or of one shift; what it isn't by is null."""

    by = serializers.ChoiceField(choices=["loom", "week", "shift", "loom and week"])
    loom = serializers.CharField(allow_null=True)
    week = serializers.DateField(allow_null=True, help_text="Its Monday.")
    shift = serializers.CharField(allow_null=True)
    running = RunningSerializer()


class EfficiencyReportSerializer(serializers.Serializer[object]):
    from_day = serializers.DateField()
    to_day = serializers.DateField()
    all = RunningSerializer()
    rows = RunningOfSerializer(many=True)


class SecondsShareSerializer(serializers.Serializer[object]):
    """Judged pieces, and the seconds among them; the percent are of the metres."""

    pieces = serializers.IntegerField()
    length_m = serializers.DecimalField(max_digits=None, decimal_places=2)
    second_pieces = serializers.IntegerField()
    second_m = serializers.DecimalField(max_digits=None, decimal_places=2)
    seconds_pct = serializers.DecimalField(max_digits=None, decimal_places=1, allow_null=True)


class SecondsOfMonthSerializer(SecondsShareSerializer):
    month = serializers.DateField(help_text="Its first day.")


class SecondsOfClothSerializer(SecondsShareSerializer):
    cloth = serializers.CharField()


class CauseSerializer(serializers.Serializer[object]):
    """Seconds put down to one fault, most metres first."""

    name = serializers.CharField()
    pieces = serializers.IntegerField()
    length_m = serializers.DecimalField(max_digits=None, decimal_places=2)
    share_pct = serializers.DecimalField(max_digits=None, decimal_places=1, help_text="Of all seconds’ metres.")
    so_far_pct = serializers.DecimalField(
        max_digits=None, decimal_places=1, help_text="Of this cause and those before it."
    )


class SecondPieceSerializer(serializers.Serializer[object]):
    piece = serializers.CharField()
    cloth = serializers.CharField()
    finished_on = serializers.DateField()
    length_m = serializers.DecimalField(max_digits=None, decimal_places=2)
    cause = serializers.CharField()


class SecondsReportSerializer(serializers.Serializer[object]):
    from_day = serializers.DateField()
    to_day = serializers.DateField()
    all = SecondsShareSerializer()
    causes = CauseSerializer(many=True)
    months = SecondsOfMonthSerializer(many=True)
    cloths = SecondsOfClothSerializer(many=True)
    pieces = SecondPieceSerializer(many=True)


class WarpWasteSerializer(serializers.Serializer[object]):
    """Warp yarn of warps woven out; `in_cloth_g` and `waste_g` add up to `drawn_g`."""

    warps = serializers.IntegerField()
    drawn_g = serializers.IntegerField(help_text="Less what came back.")
    in_cloth_g = serializers.IntegerField()
    waste_g = serializers.IntegerField(help_text="Less than 0 where a length or a draw is written wrongly.")
    waste_pct = serializers.DecimalField(max_digits=None, decimal_places=1, allow_null=True)
    planned_waste_g = serializers.IntegerField()
    planned_pct = serializers.DecimalField(max_digits=None, decimal_places=1, allow_null=True)
    thrums_g = serializers.IntegerField(help_text="Of the planned waste: thrums and headers.")
    over_g = serializers.IntegerField(help_text="Waste beyond the planned one.")


class WasteOfMonthSerializer(serializers.Serializer[object]):
    month = serializers.DateField(help_text="Its first day.")
    waste = WarpWasteSerializer()


class WasteOfClothSerializer(serializers.Serializer[object]):
    cloth = serializers.CharField()
    waste = WarpWasteSerializer()


class WasteOfWarpSerializer(serializers.Serializer[object]):
    warp = serializers.IntegerField()
    cloth = serializers.CharField()
    out_on = serializers.DateField()
    waste = WarpWasteSerializer()


class WeftWasteSerializer(serializers.Serializer[object]):
    """Weft yarn: `back_g`, `woven_g` and `waste_g` add up to `drawn_g`."""

    warps = serializers.IntegerField()
    lots = serializers.IntegerField()
    drawn_g = serializers.IntegerField()
    back_g = serializers.IntegerField(help_text="Came back into the store.")
    woven_g = serializers.IntegerField(help_text="In the pieces, by their grey length.")
    waste_g = serializers.IntegerField()
    planned_waste_g = serializers.IntegerField(help_text="That the revision allows for what was woven.")
    over_g = serializers.IntegerField(help_text="Waste beyond the planned one.")
    waste_pct = serializers.DecimalField(
        max_digits=None, decimal_places=1, allow_null=True, help_text="Of the yarn drawn that did not come back."
    )
    planned_pct = serializers.DecimalField(max_digits=None, decimal_places=1, allow_null=True)


class WeftOfMonthSerializer(serializers.Serializer[object]):
    month = serializers.DateField(help_text="Its first day.")
    waste = WeftWasteSerializer()


class WeftOfYarnSerializer(serializers.Serializer[object]):
    yarn = serializers.CharField()
    waste = WeftWasteSerializer()


class WeftOfLotSerializer(serializers.Serializer[object]):
    lot = serializers.CharField()
    yarn = serializers.CharField()
    warp = serializers.IntegerField()
    cloth = serializers.CharField()
    out_on = serializers.DateField()
    waste = WeftWasteSerializer()


class WeftSerializer(serializers.Serializer[object]):
    all = WeftWasteSerializer()
    months = WeftOfMonthSerializer(many=True)
    yarns = WeftOfYarnSerializer(many=True)
    lots = WeftOfLotSerializer(many=True, help_text="Each lot on each warp, the most beyond the plan first.")
    left_out = serializers.ListField(
        child=serializers.IntegerField(), help_text="Warps of which the book has no weft drawn or no piece."
    )


class ThrumsReportSerializer(serializers.Serializer[object]):
    from_day = serializers.DateField()
    to_day = serializers.DateField()
    all = WarpWasteSerializer()
    months = WasteOfMonthSerializer(many=True)
    cloths = WasteOfClothSerializer(many=True)
    warps = WasteOfWarpSerializer(many=True)
    left_out = serializers.ListField(
        child=serializers.IntegerField(), help_text="Warps of which the book has no draw or no piece."
    )
    weft = WeftSerializer()


class TurnoverSerializer(serializers.Serializer[object]):
    """How often the stock is used up in a year, and how long it lasts."""

    days = serializers.IntegerField()
    drawn_g = serializers.IntegerField(help_text="For work, less what came back.")
    mean_g = serializers.IntegerField(help_text="On hand at the end of a day, in the mean.")
    on_hand_g = serializers.IntegerField(help_text="At the end of the period.")
    turns = serializers.DecimalField(
        max_digits=None, decimal_places=2, allow_null=True, help_text="A year; None without stock."
    )
    supply_days = serializers.DecimalField(
        max_digits=None, decimal_places=1, allow_null=True, help_text="None where nothing was drawn."
    )


class TurnoverOfYarnSerializer(TurnoverSerializer):
    yarn = serializers.CharField()
    name = serializers.CharField()


class TurnoverReportSerializer(serializers.Serializer[object]):
    from_day = serializers.DateField(help_text="Not before the day on which the ledger begins.")
    to_day = serializers.DateField()
    all = TurnoverSerializer()
    yarns = TurnoverOfYarnSerializer(many=True)


class DeliveriesReportSerializer(serializers.Serializer[object]):
    from_day = serializers.DateField()
    to_day = serializers.DateField()
    all = PunctualitySerializer()
    weeks = PunctualityOfWeekSerializer(many=True)
    customers = PunctualityOfCustomerSerializer(many=True)
    lines = SentLineSerializer(many=True)
