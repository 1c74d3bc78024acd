from typing import Any

from rest_framework import serializers

from mill.models import ApiToken, Change, Job
from mill.roles import ROLES


class AlteredSerializer(serializers.Serializer[Any]):
    figure = serializers.CharField(source="label", read_only=True, help_text="With its unit.")
    before = serializers.CharField(read_only=True)
    after = serializers.CharField(read_only=True)


class ChangeSerializer(serializers.ModelSerializer[Change]):
    cursor = serializers.SerializerMethodField(help_text="Ask with it for what came after this change.")
    when = serializers.DateTimeField(source="at", read_only=True)
    kind = serializers.CharField(read_only=True, help_text="The kind of record: planning.loom.")
    record = serializers.CharField(read_only=True, help_text="What the record was called.")
    number = serializers.IntegerField(source="row_pk", read_only=True, help_text="The record's own number.")
    address = serializers.SerializerMethodField(help_text="The page of all that became of it.")
    what = serializers.ChoiceField(choices=["made", "changed", "struck out"], source="get_what_display", read_only=True)
    who = serializers.SerializerMethodField(help_text="The name somebody signs in by, empty when nobody is named.")
    why = serializers.CharField(read_only=True, allow_blank=True)
    altered = AlteredSerializer(many=True, read_only=True)

    class Meta:
        model = Change
        fields = ["cursor", "when", "kind", "record", "number", "address", "what", "who", "why", "altered"]

    def get_cursor(self, change: Change) -> str:
        return change.cursor

    def get_address(self, change: Change) -> str:
        from mill import changes

        return changes.page_of(change.kind, change.row_pk)

    def get_who(self, change: Change) -> str:
        return change.by.get_username() if change.by else ""


class ChangesSerializer(serializers.Serializer[Any]):
    changes = ChangeSerializer(many=True, read_only=True)
    next = serializers.CharField(read_only=True, help_text="The cursor to go on from: `since` of the next request.")
    has_more = serializers.BooleanField(read_only=True, help_text="There is more already: ask again at once.")


class TokenSerializer(serializers.ModelSerializer[ApiToken]):
    """A token of a program, without its secret."""

    whose = serializers.CharField(source="user.username", read_only=True)
    roles = serializers.SerializerMethodField(help_text="That it is narrowed to; none is all that its maker holds.")

    class Meta:
        model = ApiToken
        fields = ["id", "name", "whose", "may_write", "roles", "made_at", "ends_on", "last_used_at", "withdrawn_at"]
        read_only_fields = fields

    def get_roles(self, token: ApiToken) -> list[str]:
        return [role for role in ROLES if role in token.named_roles]


class TokenNewSerializer(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=60, help_text="The program that uses it.")
    may_write = serializers.BooleanField(default=False)
    roles = serializers.ListField(
        child=serializers.ChoiceField(choices=list(ROLES)),
        source="held",
        default=list,
        max_length=len(ROLES),
        help_text="Of your own, to narrow it to; none is all that you hold.",
    )
    ends_on = serializers.DateField(allow_null=True, default=None, help_text="The last day on which it opens anything.")


class TokenMadeSerializer(serializers.Serializer[Any]):
    token = TokenSerializer(read_only=True)
    secret = serializers.CharField(read_only=True, help_text="To send with each request. It is said this once.")


class BackupSerializer(serializers.Serializer[Any]):
    file = serializers.CharField(read_only=True)
    written_at = serializers.DateTimeField(read_only=True)
    bytes = serializers.IntegerField(read_only=True)
    address = serializers.CharField(read_only=True, help_text="Where the file itself is fetched.")


class BackupsSerializer(serializers.Serializer[Any]):
    backups = BackupSerializer(many=True, read_only=True, help_text="The latest first.")
    is_pending = serializers.BooleanField(read_only=True, help_text="One is being written, or will be.")


class JobSerializer(serializers.ModelSerializer[Job]):
    """Work in the background: asked for, being worked, done, or given up with the reason."""

    asked_by = serializers.CharField(source="asked_by.username", default=None, allow_null=True, read_only=True)
    stopped_by = serializers.CharField(source="stopped_by.username", default=None, allow_null=True, read_only=True)
    why_given_up = serializers.CharField(read_only=True, help_text="Empty while it is not.")

    class Meta:
        model = Job
        fields = [
            *("id", "task", "state", "progress_pct", "progress_note", "is_asked_to_stop", "attempts", "why_given_up"),
            *("asked_at", "asked_by", "stopped_by", "started_at", "completed_at"),
        ]
        read_only_fields = fields
