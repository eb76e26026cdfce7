"""Where things are on MQTT, as people write it: a broker's URL, a topic.

What may live here: reading such text, or refusing it with a sentence. Nothing
that takes long to import: programs for small boards use it.
"""

from urllib.parse import urlsplit

_PORTS = {"mqtt": 1883, "mqtts": 8883}
_LONGEST_TOPIC = 200


def broker_address(url: str) -> tuple[str, str, int] | None:
    """Return scheme, host and port; None unless there is just that."""
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        return None
    usual = _PORTS.get(parts.scheme)
    more = parts.username, parts.password, parts.path.strip("/"), parts.query
    plain = url.isprintable() and " " not in url and not any(more)
    if usual is None or not parts.hostname or port == 0 or not plain:
        return None
    return parts.scheme, parts.hostname, port or usual


def topic(value: object) -> str:
    """Return an MQTT topic to publish or subscribe to; no wildcards.

    Raises:
        ValueError: It is none; the message says what would be.
    """
    text = value if isinstance(value, str) else ""
    plain = text.isprintable() and not set(text) & {"+", "#"}
    if not text or len(text) > _LONGEST_TOPIC or not plain or text.startswith("$"):
        message = (
            'write one MQTT topic of 1 to 200 characters, without "+" or "#", '
            'not beginning with "$"'
        )
        raise ValueError(message)
    return text
