"""Listen to the station's own MQTT broker: each message is acknowledged after it is in the books, never
before.

The session is kept by the broker while the desk is away, so that nothing it holds is lost; a broker that is
away is one line on the day page and is tried again with growing pauses.
"""

from __future__ import annotations

import ssl
import sys
import threading
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.core.cache import cache
from django.db import connection

from drydown.books.loggers.intake import keep_message
from drydown.errors import DrydownError
from drydown.station.model import Station
from drydown.station.trade import Loggers
from drydown.words import say

__all__ = ["SECRET", "Listener", "listen_if_told", "state"]

SECRET = "broker.secret"  # noqa: S105 (name of the file that holds it)
FIRST_S, LONGEST_S = 1, 300
STATE = "broker-state"


def state() -> tuple[str, datetime | None]:
    """Why the broker is not listened to, and since when; empty where it is, or none is named."""
    found = cache.get(STATE)
    return found if isinstance(found, tuple) else ("", None)


def _say_state(words: str) -> None:
    before, since = state()
    if words != before:
        cache.set(STATE, (words, datetime.now(UTC) if words else None), None)
    elif words and since is None:
        cache.set(STATE, (words, datetime.now(UTC)), None)


class Listener:
    """A client with a session of its own at the broker; `start` returns at once, `stop` ends it."""

    def __init__(self, told: Loggers, password: str | None) -> None:
        import paho.mqtt.client as mqtt  # noqa: PLC0415 (only where a broker is named)
        from paho.mqtt.enums import CallbackAPIVersion  # noqa: PLC0415

        self.told = told
        self.client = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id=told.client_id, clean_session=False, manual_ack=True
        )
        self.client.reconnect_delay_set(FIRST_S, LONGEST_S)
        if told.user:
            self.client.username_pw_set(told.user, password)
        if told.tls:
            self.client.tls_set(ca_certs=told.ca_file or None, tls_version=ssl.PROTOCOL_TLS_CLIENT)
        self.client.on_connect = self._connected
        self.client.on_disconnect = self._gone
        self.client.on_message = self._message
        self.client.on_connect_fail = self._failed
        self.kept, self.doubled, self.refused = 0, 0, 0
        self.let_in = True

    def start(self) -> None:
        """Begin; what fails is tried again for ever."""
        self.client.connect_async(self.told.broker, self.told.port, keepalive=30)
        self.client.loop_start()

    def stop(self) -> None:
        """End the client; the broker keeps its session."""
        self.client.disconnect()
        self.client.loop_stop()

    def _connected(self, client: Any, _data: Any, _flags: Any, reason: Any, _more: Any) -> None:
        self.let_in = not reason.is_failure
        if reason.is_failure:
            _say_state(say("the broker {b} refuses: {why}", b=self.told.broker, why=str(reason)))
            return
        _say_state("")
        client.subscribe(self.told.topic, qos=1)

    def _gone(self, _client: Any, _data: Any, _flags: Any, reason: Any, _more: Any) -> None:
        if reason.is_failure and self.let_in:
            _say_state(say("the broker {b} is away: {why}", b=self.told.broker, why=str(reason)))

    def _failed(self, _client: Any, _data: Any) -> None:
        _say_state(say("the broker {b} does not answer", b=self.told.broker))

    def _message(self, client: Any, _data: Any, message: Any) -> None:
        """Keep it, then acknowledge; where the books cannot be written now it stays with the broker."""
        try:
            kept = keep_message(message.topic, bytes(message.payload))
        except DrydownError as error:
            self.refused += 1
            sys.stderr.write(f"logger: {error}\n")  # it will not be better the next time
        except Exception as error:  # a full disk, a locked file: not acknowledged, sent again
            sys.stderr.write(f"logger, kept with the broker: {error}\n")
            connection.close()
            time.sleep(1.0)
            client.reconnect()
            return
        else:
            self.kept += kept.new
            self.doubled += not kept.new
        client.ack(message.mid, message.qos)


def listen_if_told(station: Station | None, folder: Path) -> Listener | None:
    """Start listening where the station file names a broker.

    Args: station; folder of the books, whose `broker.secret` may hold the password.
    """
    if station is None or station.loggers is None:
        _say_state("")
        return None
    secret = folder / SECRET
    password = secret.read_text(encoding="utf-8").strip() if secret.exists() else None
    listener = Listener(station.loggers, password)
    threading.Thread(target=listener.start, name="loggers", daemon=True).start()
    return listener
