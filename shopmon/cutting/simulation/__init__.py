"""The simulated pass: motion of tool and work, what a sensor hears of it, and what is true of it."""
