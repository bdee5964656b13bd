"""Where events go: webhook, MQTT, alarm reporting, mail. Nothing is built here yet."""
