"""What the database answers about cuts: found, credited, as heard, as learning needs them."""
