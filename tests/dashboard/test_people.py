"""Adding people, the secret, the attempts: small parts with sharp edges."""

import stat

import pytest

from dashboard.attempts import FAILED_PER_ADDRESS_MAX, REMEMBERED_MAX, Attempts
from dashboard.passwords import opens
from dashboard.people import PersonError, add_person
from dashboard.secret import SecretError, read_or_make
from tests.dashboard import scene as made


@pytest.fixture
def password_file(tmp_path):
    file = tmp_path / "password"
    file.write_text("long enough\n")
    return file


def test_a_person_is_added_and_gets_in(farm, password_file):
    said = add_person(farm.store, "Nomsa", "farmer", "witpad, doring-dam", password_file)
    assert said == "Nomsa may sign in as farmer and sees witpad, doring-dam."
    user = farm.store.user("Nomsa")
    assert set(user.sites) == {"witpad", "doring-dam"}
    assert opens("long enough", user)
    assert not opens("long enough\n", user)
    assert "long enough" not in user.password_hash


@pytest.mark.parametrize(
    ("name", "role", "sites", "text", "said"),
    [
        ("Nomsa", "farmer", None, "long enough", "a farmer needs to be told which sites are theirs"),
        ("Nomsa", "service", "nowhere", "long enough", "the store has no site nowhere"),
        ("Nomsa", "service", None, "short", "the password has 5 characters"),
        (" Nomsa", "service", None, "long enough", "' Nomsa' is no name"),
        ("", "service", None, "long enough", "'' is no name"),
        ("x" * 65, "service", None, "long enough", "is no name"),
    ],
)
def test_what_is_wrong_is_said_with_its_fix(farm, tmp_path, name, role, sites, text, said):
    file = tmp_path / "password"
    file.write_text(text)
    with pytest.raises(PersonError) as refused:
        add_person(farm.store, name, role, sites, file)
    assert said in str(refused.value)
    assert "\n    fix: " in str(refused.value)


def test_a_password_file_that_is_not_there_is_named(farm, tmp_path):
    with pytest.raises(PersonError, match="no-such-file: cannot be read"):
        add_person(farm.store, "Nomsa", "admin", None, tmp_path / "no-such-file")


def test_nobody_has_no_password(farm):
    assert not opens("nobody has this password", None)
    assert not opens(made.PASSWORD + "x", farm.store.user("ansie"))


def test_the_secret_is_made_once_and_only_its_owner_reads_it(tmp_path):
    file = tmp_path / "secret"
    first = read_or_make(file)
    assert read_or_make(file) == first
    assert len(first) >= 32
    assert stat.S_IMODE(file.stat().st_mode) == 0o600


def test_a_secret_that_others_may_read_is_refused(tmp_path):
    file = tmp_path / "secret"
    read_or_make(file)
    file.chmod(0o644)
    with pytest.raises(SecretError, match="others may read it") as refused:
        read_or_make(file)
    assert f"fix: chmod 600 {file}" in str(refused.value)


@pytest.mark.parametrize(("content", "said"), [(b"", "shorter than 32"), (b"\xff" * 40, "cannot be read")])
def test_a_spoilt_secret_is_refused(tmp_path, content, said):
    file = tmp_path / "secret"
    file.write_bytes(content)
    file.chmod(0o600)
    with pytest.raises(SecretError, match=said):
        read_or_make(file)


def test_a_flood_of_addresses_fills_no_memory():
    attempts = Attempts(lambda: 0)
    for number in range(REMEMBERED_MAX):
        attempts.failed("name", f"10.0.{number // 256}.{number % 256}")
    assert len(attempts._failed) <= REMEMBERED_MAX


def test_one_address_may_not_try_many_names():
    attempts = Attempts(lambda: 0)
    for number in range(FAILED_PER_ADDRESS_MAX):
        attempts.failed(f"name {number}", "10.0.0.1")
    assert attempts.wait_s("another", "10.0.0.1") > 0
    assert attempts.wait_s("another", "10.0.0.2") == 0
