"""A small broker in pure Python, for a machine without Mosquitto: speaks MQTT 3.1.1.

`python -m samples.demo.embedded_broker --port N`: loopback only, everyone may connect. For trying out, not for a farm.
"""

import argparse
import asyncio
import contextlib
import logging
import signal

from amqtt.broker import Broker

PLUGINS = {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}}


async def serve(port: int) -> None:
    """Until SIGTERM or SIGINT."""
    broker = Broker({"listeners": {"default": {"type": "tcp", "bind": f"127.0.0.1:{port}"}}, "plugins": PLUGINS})
    stop = asyncio.Event()
    for wanted in (signal.SIGTERM, signal.SIGINT):
        asyncio.get_running_loop().add_signal_handler(wanted, stop.set)
    await broker.start()
    await stop.wait()
    # A client that left at the same moment makes the library complain of its own closed socket.
    with contextlib.suppress(ConnectionError):
        await broker.shutdown()


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--port", type=int, required=True)
    logging.basicConfig(level=logging.WARNING)
    asyncio.run(serve(parser.parse_args().port))
