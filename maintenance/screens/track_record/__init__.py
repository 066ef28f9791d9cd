"""How right were the forecasts?"""
