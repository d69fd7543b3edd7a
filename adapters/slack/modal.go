package slack

import "milepost/bot"

func formFor(*bot.Outbound) string { return "" }
