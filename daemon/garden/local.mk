# SPDX-License-Identifier: MIT

noinst_LIBRARIES += %D%/libgarden.a
%C%_libgarden_a_SOURCES =

%C%_libgarden_a_SOURCES += \
	%D%/types.h \
	%D%/channels.h %D%/outlets.h \
	%D%/config-scan.h %D%/config-scan.c \
	%D%/config.h %D%/config.c \
	%D%/kinds.h %D%/kinds.c \
	%D%/read.h %D%/read-settings.c %D%/read-site.c %D%/read-place.c %D%/read-grower.c \
	%D%/read-weather.c %D%/read-channel.c %D%/read-outlet.c %D%/read-secret.c \
	%D%/read-weather.c %D%/read-channel.c %D%/read-secret.c \
	%D%/feed-setup.h %D%/read-feed.c \
	%D%/garden.h %D%/garden.c \
	%D%/init.h %D%/init.c
EXTRA_DIST += docs/thole.conf.md

%C%_libgarden_a_SOURCES += %D%/crops.h %D%/crops.c %D%/crop-sources.h %D%/crop-sources.c
dist_pkgdata_DATA = %D%/crops.conf
EXTRA_DIST += docs/crops.md docs/references.md
