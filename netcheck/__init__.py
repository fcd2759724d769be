"""netcheck reviews the schematics of small audio gear before the boards are ordered.

Floors, from the ground up; each imports only from those below it:

    ground    quantities, units, YAML with line numbers, problems, files
    language  the expression language of rules and shapes
    intake    netlist text -> `Netlist`, the untouched contents of one file
    circuit   `Netlist` -> `Circuit`: kinds, roles, rails, shapes, walks
    physics   facts that are computed: matings, ground loops, voltages
    rulebook  rules in YAML: load, judge, prove
    gates, review    the use case on top: what is found, may we order
    report    HTML, SARIF and text of a review
    command   the command line
"""

__version__ = "0.1.0"
