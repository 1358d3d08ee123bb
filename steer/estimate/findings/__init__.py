"""Findings, one module a cause: each function answers the notices that hold at a node, worked out anew from the
last metres of nodes and readings, so that a finding clears itself when its evidence is gone. A finding names
what, since where, the evidence and what to do.
"""
