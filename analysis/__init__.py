"""Pure computation, in the order data flows: reading, firing, measures, history, condition, causes, outlook, inspection.

No clock, disk, network, logging or settings: the same input gives the same output.
"""
