"""The next days: pile, equipment, cost and limits under the present advice and a forecast."""
