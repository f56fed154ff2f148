"""Action cards to where people and machines look: a file, a webhook, an MQTT topic.

Nothing is decided here and nothing is kept: a card is delivered, or an error says where it was not.
"""

from wideroll.notices.sinks import open_sinks

__all__ = ["open_sinks"]
