"""From the text of a netlist to a `Netlist`: everything that the file says, nothing that it means.

    text      bytes -> text; other sorts of file are refused by name
    scan      text -> clauses, in one pass, with their lines
    contents  clauses -> `Netlist`, the same for every generation of the format
    skeleton  clauses -> the circuit as kinparse reads it; both readings must agree
    cache     what was read before
    reading   the way in: `read_netlist`, `read_netlists`, `read_text`

Knows: the s-expression format of every generation, kinparse, the cache. Must not know: kinds, roles, rules.
"""
