"""Readings that a broker passes on (MQTT 3.1.1)."""
