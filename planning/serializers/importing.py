from typing import Any

from rest_framework import serializers

from planning.csv_book import COMMA, POINT


class ImportSerializer(serializers.Serializer[Any]):
    """A file as text: the header first, cells parted by commas or by semicolons, as the header has them."""

    csv = serializers.CharField(trim_whitespace=False)
    decimal = serializers.ChoiceField(choices=[POINT, COMMA], default=POINT, help_text="How decimals are written.")
    is_check = serializers.BooleanField(default=False, help_text="All of it is looked at, and nothing is written.")


class BroughtSerializer(serializers.Serializer[Any]):
    """What came of a file."""

    said = serializers.CharField(source="__str__", help_text="The same in a sentence.")
    n_rows = serializers.IntegerField()
    new = serializers.IntegerField()
    changed = serializers.IntegerField()
    same = serializers.IntegerField()
    also = serializers.ListField(child=serializers.CharField(), help_text="What was written beside its rows.")
    is_check = serializers.BooleanField()


class ImportColumnSerializer(serializers.Serializer[Any]):
    name = serializers.CharField(help_text="As it stands in the header.")
    says = serializers.CharField()
    example = serializers.CharField(allow_blank=True)
    is_needed = serializers.BooleanField(help_text="Every row fills it.")
    is_asked = serializers.BooleanField(help_text="The header names it, though a row may leave it empty.")


class ImportKindSerializer(serializers.Serializer[Any]):
    """What a kind of file looks like."""

    kind = serializers.CharField(source="many")
    says = serializers.CharField()
    key = serializers.ListField(child=serializers.CharField(), help_text="Columns by which a row is known again.")
    columns = ImportColumnSerializer(many=True)
