"""The interface for programs: state, event stream, cuts, context, marks, health."""
