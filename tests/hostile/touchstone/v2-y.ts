[Version] 2.1
# MHz Y MA
[Number of Ports] 1
[Reference]
75
[Number of Frequencies] 2
[Begin Information]
[x]
[End Information]
[Network Data]
144 0.02 -10
148 0.02 10
[End]
