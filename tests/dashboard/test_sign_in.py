"""The door: who gets in, how often one may try, and what ends a sign-in."""

import pytest

from dashboard.attempts import FAILED_PER_PAIR_MAX, WINDOW_MS
from dashboard.routes.sign_in import own_path
from tests.dashboard import scene as made


def attempt(visitor, name="ansie", password=made.PASSWORD, **more):
    return visitor.post("/sign-in", data={"name": name, "password": password, **more})


def test_the_right_password_opens_and_goes_on(visitor):
    answer = attempt(visitor, onward="/sites/witpad")
    assert (answer.status_code, answer.headers["location"]) == (303, "/sites/witpad")
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=lax" in cookie
    assert visitor.get("/api/who").json() == {"name": "ansie", "role": "service", "sites": None}


@pytest.mark.parametrize(("name", "password"), [("ansie", "wrong"), ("nobody", made.PASSWORD), ("ansie", "")])
def test_a_wrong_password_and_a_wrong_name_look_alike(visitor, name, password):
    answer = attempt(visitor, name, password)
    assert answer.status_code in (400, 403)
    if password:
        assert "Name or password is wrong." in answer.text
    assert visitor.get("/api/who").status_code == 401


def test_too_many_tries_must_wait_and_then_may_try_again(visitor, clock):
    for _ in range(FAILED_PER_PAIR_MAX):
        assert attempt(visitor, password="wrong").status_code == 403
    refused = attempt(visitor)
    assert refused.status_code == 429
    assert refused.headers["retry-after"] == str(WINDOW_MS // 1000)
    assert "Wait 15 minutes" in refused.text
    assert attempt(visitor, name="boer").status_code == 303, "another name from the same place is not locked out"
    clock[0] += WINDOW_MS
    assert attempt(visitor).status_code == 303


def test_signing_out_ends_it_and_keeps_the_language(service):
    service.post("/language", data={"code": "fr", "back": "/fleet"})
    assert service.post("/sign-out").headers["location"] == "/sign-in"
    assert service.get("/api/who").status_code == 401
    assert "Se connecter" in service.get("/sign-in").text


def test_a_new_password_ends_older_sign_ins(farm, service):
    from analysis.store.users import hash_password

    farm.store.put_user("ansie", hash_password("an entirely new one"), "service", None)
    assert service.get("/api/who").status_code == 401


def test_a_person_taken_out_is_out_at_once(farm, service):
    farm.store.drop_user("ansie")
    assert service.get("/fleet").status_code == 401


def test_a_forged_cookie_is_nobody(visitor):
    visitor.cookies.set("wellhand", "eyJuYW1lIjogImFuc2llIn0=.abcd.abcdefgh")
    assert visitor.get("/api/who").status_code == 401


@pytest.mark.parametrize("foreign", ["//evil.example", "https://evil.example", "/\\evil.example", "", "/a\nb"])
def test_onward_never_leads_away(foreign):
    assert own_path(foreign) == "/"


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"origin": "https://evil.example"}, 403),
        ({"sec-fetch-site": "cross-site"}, 403),
        ({"sec-fetch-site": "same-site"}, 403),
        ({"origin": "null"}, 403),
        ({"origin": "http://testserver"}, 303),
        ({"sec-fetch-site": "same-origin", "origin": "http://testserver"}, 303),
        ({}, 303),
    ],
)
def test_posts_from_other_pages_are_refused(visitor, headers, status):
    answer = visitor.post("/sign-in", data={"name": "ansie", "password": made.PASSWORD}, headers=headers)
    assert answer.status_code == status


@pytest.mark.parametrize(("name", "home"), [("boer", "/sites/klip-fontein"), ("twee", "/fleet"), ("ansie", "/fleet")])
def test_each_begins_where_their_pumps_are(signed_in, name, home):
    assert signed_in(name).get("/").headers["location"] == home
