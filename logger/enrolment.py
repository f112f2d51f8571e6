"""A new site's way into the broker: password line, topic list, board file. Text in, text out; commands/enrol.py writes it.

Password lines are in Mosquitto's open form `user:$7$<iterations>$<salt>$<hash>`: PBKDF2 with HMAC-SHA-512, base64.
A board may write its own four topics and read its own `stored`, nothing else; the server the other way round.
Never: a file, a password in a message.
"""

import hashlib
from base64 import b64encode
from dataclasses import asdict
from importlib.resources import files

from logger.healthy_pump import healthy_table
from logger.record.site_facts import SiteFacts
from logger.record.topics import FINDINGS, FROM_BOARD, KINDS, STORED, everyone, topic_of

SERVER = "wellhand-server"
ITERATIONS = 1000
"""The passwords are long and random, so that guessing is hopeless anyway; small boards' brokers check quickly."""
SALT_BYTES = 12
HASH_BYTES = 64
PUMP_FROM, PUMP_TO = "# What the board itself judges by", "# Text messages through"
"""Where the sample speaks of [pump], and what follows it."""
FROM_SERVER = (STORED, FINDINGS)

CAUTIONS = """\
Before wires are connected at the pump:
- A controller's probe and float terminals may stand at array voltage, which kills. Use volt-free or isolated contacts
  only, and isolated, surge-protected RS-485.
- Isolate array and controller first, and wait for its capacitors. Work and measurements inside the box are for a
  licensed person, under the local code.
- Feed the board from its own small panel and battery, never from a module tapped from the pump's string.
- The logger only reads. It cannot stop the pump: for that the pump has its own switch."""


def password_line(user: str, password: str, salt: bytes) -> str:
    """One line of the broker's password file."""
    made = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, ITERATIONS, HASH_BYTES)
    return f"{user}:$7${ITERATIONS}${b64encode(salt).decode()}${b64encode(made).decode()}"


def board_topics(site: str) -> list[str]:
    """The topic list of one board."""
    writes = [f"topic write {topic_of(site, kind)}" for kind in KINDS if kind in FROM_BOARD]
    return [f"user {site}", *writes, f"topic read {topic_of(site, STORED)}"]


def server_topics() -> list[str]:
    """The topic list of the server: reads every board's, writes what boards and pages read."""
    reads = [f"topic read {everyone(kind)}" for kind in KINDS if kind in FROM_BOARD]
    # What it wrote itself it reads again after a restart: the retained statements of what is stored.
    return [f"user {SERVER}", *reads, *(f"topic readwrite {everyone(kind)}" for kind in FROM_SERVER)]


def with_user(passwords: str, line: str) -> str:
    """The password file with this user's line in it, instead of an older one."""
    user = line.partition(":")[0]
    kept = [one for one in passwords.splitlines() if one.partition(":")[0] != user]
    return "\n".join([*kept, line]) + "\n"


def with_topics(topic_list: str, block: list[str]) -> str:
    """The topic list with this user's block in it, instead of an older one; what stands elsewhere is kept."""
    kept: list[str] = []
    within = False
    for line in topic_list.splitlines():
        if line.startswith("user "):
            within = line.strip() == block[0]
        if not within:
            kept.append(line)
    while kept and not kept[-1].strip():
        kept.pop()
    return "\n".join([*kept, *([""] if kept else []), *block]) + "\n"


def has_user(passwords: str, user: str) -> bool:
    """Is there a line for this user?"""
    return any(line.partition(":")[0] == user for line in passwords.splitlines())


def pump_table(facts: SiteFacts) -> str:
    """The board file's [pump], by the site file: what the board itself judges by."""
    place, control = facts.site, facts.controller
    table = healthy_table(facts)
    keys: dict[str, float | None] = {
        "start_delay_s": control.start_delay_s,
        "meter_step_m3": facts.sensors.meter_step_m3,
        "running_power_w": min(100.0, table[0].input_power_w / 2) if table else None,
        "voltage_max_v": control.max_input_voltage_v,
        "latitude_deg": place.latitude_deg,
        "longitude_deg": place.longitude_deg,
    }
    lines = [f'kind = "{facts.pump.kind}"']
    lines += [f"{name} = {value:g}" for name, value in keys.items() if value is not None]
    rows = [
        ", ".join(f"{name} = {value:g}" for name, value in asdict(row).items() if value is not None) for row in table
    ]
    head = "# Made by `wellhand enrol` from the site file: make it again when the site file changes."
    expected = ["expected = [", *(f"  {{ {row} }}," for row in rows), "]"] if rows else []
    return "\n".join([head, "[pump]", *lines, *expected]) + "\n"


def board_file(
    site: str, host: str, port: int, ca_file: str | None, link: str = "metered", facts: SiteFacts | None = None
) -> str:
    """The board's settings, from the sample that comes with the program; with `facts`, what it judges by too."""
    text = files("logger").joinpath("board_sample.toml").read_text()
    text = text.replace('"SITE"', f'"{site}"').replace('"HOST"', f'"{host}"').replace("port = 8883", f"port = {port}")
    if link != "metered":
        text = text.replace('link = "metered"', f'link = "{link}"   ')
    if facts is not None:
        before, _, rest = text.partition(PUMP_FROM)
        text = before + pump_table(facts) + "\n" + PUMP_TO + rest.partition(PUMP_TO)[2]
    return text if ca_file else text.replace('ca_file = "ca.pem"', '# ca_file = "ca.pem"')
