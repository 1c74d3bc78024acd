"""The project: wiring, and the words that planning and inventory share."""
