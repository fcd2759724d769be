"""The expression language of rules and shapes: parse, static types with units, evaluate, sentences.

Knows: words, numbers, units, values that may be unknown. Must not know: circuits, rules, files. It has no noun
and no function by itself; a vocabulary hands them in.
"""
