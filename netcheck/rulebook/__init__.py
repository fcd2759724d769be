"""The rule book: load rules and shapes from YAML, bind their words to facts, judge, prove.

Knows: the language, the circuit, the facts. Must not know: reports, screens.
"""
