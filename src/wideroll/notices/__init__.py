"""Action cards to where people and machines look: a file, a webhook, an MQTT topic."""
