"""The API told and tried: its description, the page about it, and what comes back to whatever a program may send."""

import json
import shutil

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis.checks import load_all_checks, not_a_server_error
from schemathesis.specs.openapi import checks

from wideroll.server.app import create_app, routers
from wideroll.server.desk import LOOPBACK, DeskSettings
from wideroll.server.programs.document import api_routes, describe, with_doors
from wideroll.server.programs.twins import ALONE, TWINS

_EXAMPLES = 5
_THERE = {"roll": "T-1", "number": 1, "page_name": "decision", "product": "sheet-100", "strip": "1", "name": "w.cedar"}
_CHECKS = (
    not_a_server_error,
    checks.status_code_conformance,
    checks.content_type_conformance,
    checks.response_schema_conformance,
    checks.unsupported_method,
)
_OPERATIONS = sorted({(next(iter(one.methods - {"HEAD"})).lower(), one.path) for one in api_routes(routers())})


@pytest.fixture(scope="module")
def described():
    """What the API says of itself."""
    return describe(routers(), version="0")


def _operations(described):
    return [(method, path, one) for path, methods in described["paths"].items() for method, one in methods.items()]


def test_each_route_for_programs_is_described(described):
    """Each has a summary, scopes, errors in the one shape, and an answer told field by field or named."""
    routes = {(method.lower(), one.path) for one in api_routes(routers()) for method in one.methods - {"HEAD"}}
    assert {(method, path) for method, path, _ in _operations(described)} == routes
    for method, path, one in _operations(described):
        assert one["summary"], path
        assert one["x-scopes"], path
        for status in ("4XX", "5XX"):
            shape = one["responses"][status]["content"]["application/json"]["schema"]["$ref"]
            assert shape.endswith("/Wrong")
        good = next(answer for status, answer in one["responses"].items() if status in {"200", "202"})
        schema = good["content"]["application/json"]["schema"]
        assert "$ref" in schema or "schema" in schema.get("properties", {}), f"{method} {path} says not what it answers"


def test_what_pages_show_programs_can_read(described):
    """Each page has addresses below /api that give the same, or it is listed with why it needs none."""
    pages = {
        route.path
        for router in routers()
        for route in router.routes
        if "GET" in route.methods and not route.path.startswith("/api/")
    }
    assert sorted(pages ^ {*TWINS, *ALONE}) == []
    assert set(TWINS) & set(ALONE) == set()
    assert sorted({one for twins in TWINS.values() for one in twins} - set(described["paths"])) == []
    assert all(why for why in ALONE.values())


def test_the_page_for_programs_lists_each_route(people, described):
    """Somebody who may read finds each address with its scope, and how to get a token."""
    text = people.browser("reader").get("/api").text
    assert sorted(path for path in described["paths"] if f"<code>{path}</code>" not in text) == []
    assert "Authorization: Bearer" in text
    assert people.browser().get("/api").headers["location"].startswith("/login")


def test_the_description_says_who_may(people):
    """It is for whoever may read; each address names its scope, and what no token may has none."""
    browser = people.browser()
    assert browser.get("/api/openapi.json").status_code == 401
    told = browser.get("/api/openapi.json", headers=people.bearer("reader", "read")).json()
    assert told["openapi"].startswith("3.1")
    assert set(told["info"]) == {"title", "version", "description"}
    assert told["components"]["securitySchemes"]["token"]["scheme"] == "bearer"
    assert told["components"]["securitySchemes"]["session"]["name"] == "wideroll-8642-session"
    paths = told["paths"]
    assert paths["/api/rolls"]["get"]["security"] == [{"token": ["read"]}, {"session": []}]
    assert paths["/api/rolls/{roll}/decide"]["get"]["security"][0] == {"token": ["decide"]}
    assert paths["/api/people"]["get"]["security"] == [{"session": []}]


def test_one_person_needs_no_token(alone):
    """Alone at the machine, the description says that nothing need be shown."""
    told = alone.get("/api/openapi.json").json()
    assert {} in told["paths"]["/api/rolls"]["get"]["security"]
    assert "no token is needed" in alone.get("/api").text


def test_rolls_are_told_whether_decided_or_not(browse, own_desk_plant):
    """The list has what the page has; a roll alone is told the same, and what its pages show in order."""
    shutil.copytree(own_desk_plant / "rolls" / "T-1", own_desk_plant / "rolls" / "N-1")
    desk = browse(own_desk_plant)
    rolls = {one["roll"]: one for one in desk.get("/api/rolls").json()["rolls"]}
    assert rolls["N-1"]["state"] == "waiting"
    assert rolls["N-1"]["sheet"] is None
    assert [one["roll"] for one in desk.get("/api/rolls?state=waiting").json()["rolls"]] == ["N-1"]
    one = desk.get("/api/rolls/T-1/standing").json()
    assert {**one, "age_days": 0} == {**rolls["T-1"], "age_days": 0}
    shown = desk.get("/api/rolls/T-1/shown/decision").json()["blocks"]
    assert "criteria" in [block.get("key") for block in shown]
    assert desk.get("/api/rolls/T-1/shown/nothing").json()["blocks"] is None
    assert desk.get("/api/rolls/T-1/decide").json()["state"] == "not asked"


def test_our_own_errors_have_the_one_shape(people):
    """What we didn't foresee is a 500 in the same shape, below the same policy."""

    @people.app.get("/api/broken")
    def broken():
        raise ZeroDivisionError

    answer = people.browser("reader").get("/api/broken")
    assert answer.status_code == 500
    assert set(answer.json()["error"]) == {"status", "where", "rule", "mend"}
    assert "default-src 'none'" in answer.headers["content-security-policy"]


def test_a_method_that_an_address_lacks_is_refused_with_those_it_has(alone):
    """405 names what would do, in the one shape."""
    answer = alone.request("HEAD", "/api/rolls")
    assert answer.status_code == 405
    assert answer.headers["allow"] == "GET"


def test_lanes_too_narrow_to_count_are_refused(browse, desk_plant):
    """A width that would make millions of lanes is a wrong one, and answered at once."""
    answer = browse(desk_plant).get("/api/rolls/T-1/marks?lane=1&lane_mm=1e-9")
    assert answer.status_code == 422
    assert answer.json()["error"]["where"] == "lane"


@pytest.fixture(scope="module")
def tried(desk_plant, described, tmp_path_factory):
    """Each operation of a desk over the tiny plant, by method and path."""
    load_all_checks()
    root = shutil.copytree(desk_plant, tmp_path_factory.mktemp("tried") / "plant")
    app = create_app(DeskSettings(root=root, hosts=(*LOOPBACK, "testserver"), who="W. Cedar"))
    schema = schemathesis.openapi.from_dict(with_doors(described, cookie="session", closed=False))
    schema.app = app
    found = [result.ok() for result in schema.get_all_operations()]
    return {(one.method, one.path): one for one in found}


@pytest.mark.parametrize("at", _OPERATIONS, ids=" ".join)
def test_whatever_a_program_sends_gets_what_is_described(tried, at):
    """No answer is an error of ours, each has a type and a form that are described, and refusals the one shape."""

    @settings(
        max_examples=_EXAMPLES,
        deadline=None,
        derandomize=True,
        database=None,
        phases=(Phase.explicit, Phase.generate),
        suppress_health_check=list(HealthCheck),
    )
    @given(case=tried[at].as_strategy())
    def send(case):
        _send(case)
        if case.path_parameters:
            case.path_parameters = {name: _THERE.get(name, value) for name, value in case.path_parameters.items()}
            _send(case)

    send()


def _send(case):
    answer = case.call(timeout=600)
    case.validate_response(answer, checks=_CHECKS)
    if answer.status_code >= 400:
        assert set(json.loads(answer.content)["error"]) == {"status", "where", "rule", "mend"}
