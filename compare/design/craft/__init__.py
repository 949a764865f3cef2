"""What goes wrong at the bench and what one does about it: kinds, facts, tools of every construction."""
