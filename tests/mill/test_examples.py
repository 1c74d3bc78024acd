"""The API's description shows a request for everything that is written; tests/slow/test_examples.py sends each."""

from typing import Any

import pytest

from mill import examples
from mill.paging import AT_MOST
from tests.make import make_customer

WRITES = {"post", "put", "patch", "delete"}
# Names under which a record's number is sent; the mill's records have others than the examples give them.
NUMBERED = {"id", "line", "part", "reservation", "treatment", "colourway"}
# Lists that are no longer than the mill has looms, kinds of files or revisions of one cloth, or decided as one.
WHOLE = {
    "/api/cloths/{code}/colourways/",
    "/api/cloths/{code}/revisions/",
    "/api/cloths/{code}/shrinkage/",
    "/api/floor/run-outs/",
    "/api/floor/woven/",
    "/api/imports/",
    "/api/lot-shares/",
    "/api/reckoner/",
    "/api/warp-proposals/",
    "/api/dye-lots/",
}


@pytest.fixture
def description(desk) -> dict[str, Any]:
    return desk.get("/api/schema/", HTTP_ACCEPT="application/vnd.oai.openapi+json").json()


def writing(description):
    return [
        (method, path, operation)
        for path, operations in description["paths"].items()
        for method, operation in operations.items()
        if method in WRITES
    ]


def shown(path, operation) -> list[tuple[dict[str, Any], Any]]:
    """The examples of an operation as its description has them: what stands in the address, and what is sent."""
    asked = [one for one in operation.get("parameters", []) if one["in"] == "path"]
    at = {one["name"]: one["example"] for one in asked if "example" in one}
    content = operation.get("requestBody", {}).get("content", {}).get("application/json", {})
    if path == "/api/reckoner/{name}/":
        # Each of its examples is called after its sum.
        return [({"name": name.lower()}, one["value"]) for name, one in content["examples"].items()]
    missing = [one["name"] for one in asked if one["name"] not in at]
    assert not missing, f"{path}: no example of {missing}"
    assert not content or "example" in content, f"{path}: no example of what is sent"
    return [(at, content.get("example"))]


def numbered(said, ids, name=""):
    """The same with the numbers that the mill's records have."""
    if isinstance(said, dict):
        return {key: numbered(value, ids, key) for key, value in said.items()}
    if isinstance(said, list):
        return [numbered(one, ids, name) for one in said]
    return ids[said] if name in NUMBERED and isinstance(said, int) else said


def test_the_description_is_openapi_3_1_and_every_example_is_of_an_operation_it_has(description):
    assert description["openapi"].startswith("3.1.")
    there = {(method, path) for method, path, _ in writing(description)}
    assert examples.examples().keys() <= there
    assert there - examples.examples().keys() == {("post", "/api/reckoner/{name}/")}


def test_everything_that_writes_shows_a_request(description):
    for _, path, operation in writing(description):
        assert shown(path, operation)


def test_lists_come_leaf_by_leaf_and_never_whole(description, desk):
    for path, operations in description["paths"].items():
        said = operations.get("get", {}).get("responses", {}).get("200", {}).get("content", {})
        schema = said.get("application/json", {}).get("schema", {})
        if schema.get("type") == "array":
            assert path in WHOLE, f"{path} is a list that is not paged"
        if "Paginated" in schema.get("$ref", ""):
            (limit,) = [one for one in operations["get"]["parameters"] if one["name"] == "limit"]
            assert f"never more than {AT_MOST}" in limit["description"]
    for n in range(3):
        make_customer(code=f"C-{n}")
    leaf = desk.get("/api/customers/?limit=2").json()
    assert (len(leaf["results"]), leaf["count"]) == (2, 3)
    assert "offset=2" in leaf["next"]
    # What asks for more than there may be is given as many as there may be.
    assert f"limit={AT_MOST}" in desk.get(f"/api/customers/?limit={10**6}&offset=1").json()["previous"]
