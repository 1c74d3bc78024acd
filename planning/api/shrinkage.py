from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from planning.api.cloths import worked
from planning.models import Cloth
from planning.serializers.cloths import WorkedRevisionSerializer
from planning.serializers.shrinkage import RouteLearnedSerializer
from planning.services import shrinkage


class ShrinkageView(APIView):
    """What the measured pieces of a cloth say of its shrinkage, by route. The normal distribution is assumed."""

    @extend_schema(responses={200: RouteLearnedSerializer(many=True)})
    def get(self, request: Request, code: str) -> Response:
        cloth = get_object_or_404(Cloth, code=code)
        return Response(RouteLearnedSerializer(shrinkage.learned_of(cloth), many=True).data)

    @extend_schema(request=None, responses={201: WorkedRevisionSerializer})
    def post(self, request: Request, code: str) -> Response:
        """A revision whose route takes what the pieces showed, where they speak against the old one."""
        cloth = get_object_or_404(Cloth, code=code)
        return Response(worked(shrinkage.take_over(cloth, by=request.user)), status=201)


urlpatterns = [path("cloths/<str:code>/shrinkage/", ShrinkageView.as_view(), name="api_cloth_shrinkage")]
