"""What a report on a cut or a part says, gathered from the log; and a PDF of it where a browser is there."""
