"""Hardware in the loop: the wire to a real board."""
