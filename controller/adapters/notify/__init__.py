"""Telling people: webhook, MQTT, and more through an optional library."""
