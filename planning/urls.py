"""The planning side's addresses, gathered from its rooms."""

from importlib import import_module
from pkgutil import iter_modules

from django.urls import URLPattern, URLResolver, include, path

import planning.api
import planning.views


def gathered(package: object) -> list[URLPattern | URLResolver]:
    """`urlpatterns` of every module of a package, in the order of their names."""
    found: list[URLPattern | URLResolver] = []
    for module in iter_modules(package.__path__):  # type: ignore[attr-defined]
        found += import_module(f"{package.__name__}.{module.name}").urlpatterns  # type: ignore[attr-defined]
    return found


urlpatterns = [*gathered(planning.views), path("api/", include(gathered(planning.api)))]
