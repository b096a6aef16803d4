"""Error bars: causes, estimates, and one kernel evaluated three ways. Knows no physics and no units."""
