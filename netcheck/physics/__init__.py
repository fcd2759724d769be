"""Facts by computation, one module a fact: matings, conductor graph, voltages. Lazy; unknown, never an exception.

Knows: `Circuit` and numbers. Must not know: rules, verdicts, reports, files.
"""
