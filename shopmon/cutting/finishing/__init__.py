"""Walls to be finished: how far the tool bends, which marks geometry leaves, depths that are smooth."""
