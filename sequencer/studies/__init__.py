"""Many flights of one scenario, and what they prove."""
