"""The broker's client, set up from the settings: version, TLS, credentials, will, bounded flight. One per MQTT version.

Flow: link.py -> HERE -> paho-mqtt. Never: what is published; a retry of our own (paho reconnects with a growing pause).
"""

import ssl
from collections.abc import Callable
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from logger.settings_tables import Mqtt

IN_FLIGHT_MAX = 4
PAUSE_S = (1, 120)
CONNECT_TIMEOUT_S = 20.0
V5, V311 = paho.MQTTv5, paho.MQTTv311
VERSION_NAMES = {V5: "5", V311: "3.1.1"}


class Client(paho.Client):
    """paho's client, which also tells why a connection could not be opened (it only logs that)."""

    on_trouble: Callable[[str], None] = staticmethod(print)
    """Told the reason; link.py puts its own in place."""

    def reconnect(self) -> Any:
        """As paho's; the reason of a failure is passed on before it is raised."""
        try:
            return super().reconnect()
        except OSError as error:
            self.on_trouble(worded(error))
            raise


def make_client(mqtt: Mqtt, client_id: str, version: Any, folder: Path, will: tuple[str, bytes]) -> Client:
    """A client that is set up and not yet connected. OSError, ssl.SSLError: a certificate or secret cannot be used."""
    client = Client(paho.CallbackAPIVersion.VERSION2, client_id, protocol=version, **_session(version))
    client.max_inflight_messages_set(IN_FLIGHT_MAX)
    client.reconnect_delay_set(*PAUSE_S)
    client.connect_timeout = CONNECT_TIMEOUT_S
    if mqtt.tls:
        client.tls_set_context(_tls(mqtt, folder))
    if mqtt.username:
        client.username_pw_set(mqtt.username, _password(mqtt, folder))
    topic, payload = will
    client.will_set(topic, payload, qos=1, retain=True, properties=_will_properties(mqtt, version))
    return client


def open_client(client: Client, mqtt: Mqtt, version: Any) -> None:
    """Connect from paho's own thread, which goes on trying; returns at once."""
    port = mqtt.port or (8883 if mqtt.tls else 1883)
    if version == V5:
        properties = Properties(PacketTypes.CONNECT)
        properties.SessionExpiryInterval = mqtt.session_expiry_s
        client.connect_async(mqtt.host, port, mqtt.keepalive_s, clean_start=False, properties=properties)
    else:
        client.connect_async(mqtt.host, port, mqtt.keepalive_s)
    client.loop_start()


def worded(error: OSError) -> str:
    """One line for people."""
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"the broker's certificate was not accepted: {error.verify_message}"
    if isinstance(error, ssl.SSLError):
        return f"TLS failed: {error.reason or error}"
    return error.strerror or str(error) or type(error).__name__


def _session(version: Any) -> dict[str, Any]:
    """A session that outlives the connection; MQTT 5 says so when it connects."""
    return {} if version == V5 else {"clean_session": False}


def _tls(mqtt: Mqtt, folder: Path) -> ssl.SSLContext:
    """Checks the broker's certificate and name always; shows our own where we have one."""
    context = ssl.create_default_context(cafile=str(folder / mqtt.ca_file) if mqtt.ca_file else None)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    if mqtt.cert_file and mqtt.key_file:
        context.load_cert_chain(folder / mqtt.cert_file, folder / mqtt.key_file)
    return context


def _password(mqtt: Mqtt, folder: Path) -> str | None:
    if not mqtt.password_file:
        return None
    return (folder / mqtt.password_file).read_text().strip("\r\n")


def _will_properties(mqtt: Mqtt, version: Any) -> Properties | None:
    if version != V5:
        return None
    properties = Properties(PacketTypes.WILLMESSAGE)
    properties.WillDelayInterval = mqtt.will_delay_s
    return properties
