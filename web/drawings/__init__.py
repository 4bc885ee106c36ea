"""What is drawn, as plain lines and figures. Pure: the templates turn it into pictures."""
