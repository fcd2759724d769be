"""The floor that everything stands on: quantities, units, YAML with line numbers, problems, files.

Knows: text, numbers, files. Must not know: circuits, rules, reports.
"""
