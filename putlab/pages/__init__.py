"""What the report's pages say: findings of a player, and numbers in a golfer's words."""
