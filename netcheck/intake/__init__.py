"""From the text of a netlist to a `Netlist`: everything that the file says, nothing that it means.

Knows: the s-expression format of every generation, kinparse, the cache. Must not know: kinds, roles, rules.
"""
