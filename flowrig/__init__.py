"""Workshop readings of moving air, reduced to a flow with error bars."""
