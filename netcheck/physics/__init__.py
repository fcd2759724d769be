"""Facts by computation, one module a fact: matings, conductor graph, voltages. Lazy; unknown, never an exception.

Knows: `Circuit` and numbers. Must not know: rules, verdicts, reports, files.
"""

import os

# Matrices are small here: a second thread of numpy's would only wait, and take the processor from other work.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
