# One office PC with Windows: run once as the person whose PC it is.
# It starts with their sign-in, and again a minute after it failed.
$room = "$env:USERPROFILE\donning-room\Scripts\donning-room.exe"
$data = "$env:USERPROFILE\donning-room-data"
$action = New-ScheduledTaskAction -Execute $room -Argument "serve --data `"$data`""
$trigger = New-ScheduledTaskTrigger -AtLogOn -User "$env:USERDOMAIN\$env:USERNAME"
$settings = New-ScheduledTaskSettingsSet -RestartCount 999 `
    -RestartInterval (New-TimeSpan -Minutes 1) -ExecutionTimeLimit ([TimeSpan]::Zero) `
    -AllowStartIfOnBatteries -DontStopIfGoingOnBatteries -MultipleInstances IgnoreNew
Register-ScheduledTask -TaskName "Donning Room" -Action $action -Trigger $trigger -Settings $settings
Start-ScheduledTask -TaskName "Donning Room"
