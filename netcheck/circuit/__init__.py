"""What the circuit is: boards, kinds, roles, rails, grounds, the part book, shapes, walks along the graph.

Knows: `Netlist`, networkx, the YAML of rules/parts, rules/shapes and rules/words.yaml. Must not know: rules,
verdicts, reports.
"""
