"""Which of two is better: kinds of end mill or two of them, on finish, life, chatter and cost.

Like is only compared with like (strata of material and operation), a verdict needs more than two of each, and
where nothing is settled the answer says how many more would settle it.
"""
