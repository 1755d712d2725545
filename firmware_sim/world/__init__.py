"""What happens on the lawn, as functions of scenario time."""
