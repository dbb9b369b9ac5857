"""Which cuts stay quiet: semi-discretization, the zeroth-order solution, maps and limits."""
