from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from planning.serializers.promise import AskedPromiseSerializer, PromiseSerializer
from planning.services.promise import promise


class PromiseView(APIView):
    """When so many pieces could be ready, were they ordered now, and what would be pushed. Writes nothing."""

    @extend_schema(request=AskedPromiseSerializer, responses={200: PromiseSerializer})
    def post(self, request: Request) -> Response:
        asked = AskedPromiseSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        return Response(PromiseSerializer(promise(**asked.validated_data)).data)


urlpatterns = [path("promise/", PromiseView.as_view(), name="api_promise")]
