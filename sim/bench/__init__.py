"""The bench: the window where people practise. It shows what a shop shows and sends commands; it knows no physics."""
