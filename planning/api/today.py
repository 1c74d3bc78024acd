from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from planning.serializers.today import DayBookSerializer
from planning.views.today import day_book


class TodayView(APIView):
    """What is the work of whoever asks today: each thing, what is the matter, what to do and where, and what follows.

    The chapters are those of the asker's roles; a token that is narrowed to some roles asks with those. An owner or
    reader who does nothing else gets all of them.
    """

    @extend_schema(responses={200: DayBookSerializer})
    def get(self, request: Request) -> Response:
        book = day_book(request.user)
        said = {"on": timezone.localtime(), "own": book.own, "elsewhere": book.elsewhere, "next": book.next}
        return Response(DayBookSerializer(said).data)


urlpatterns = [path("today/", TodayView.as_view(), name="api_today")]
