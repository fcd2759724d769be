"""Electrical networks: elements between named nodes, their operating point, small-signal response and noise.

Knows: numbers, numpy, the equations of elements. Must not know: parts, boards, the part book, rules.
"""
