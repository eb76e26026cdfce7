"""The edges: clocks, MQTT, files; imported by the command line alone."""
