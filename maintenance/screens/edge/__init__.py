"""Why does this edge go dull when it does? Its cycles, its curve, readings, other builds."""
