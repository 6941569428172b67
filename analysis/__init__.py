"""Pure computation, in the order data flows through it.

reading -> firing -> measures -> state and condition -> causes -> outlook -> inspection.
No clock, disk, network, logging or settings: the same input gives the same output.
"""
